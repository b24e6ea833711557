"""Lab Streaming Layer: what is measured here on the time base of other instruments, and their markers here."""
