"""Bought transmitters, as their users adjust them."""

LINES = """
[transmitter]
link = "lines"
port = "{port}"
pattern = '(?P<saddle>[\\d.]+);(?P<hands>[\\d.]+)'
"""

MODBUS = """
[transmitter]
link = "modbus"
port = "{port}"
parity = "none"
registers = [{{ name = "hands", address = 100, scale = 0.01 }}, {{ name = "saddle", unit_number = 2, address = 100 }}]
"""
