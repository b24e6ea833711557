"""Something missing between two times of a session, and when a session received anything."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from daq.words import counted

_TIMES = (("chunks", "first_us", "last_us"), *((table, "received_us", "received_us") for table in ("hellos", "events")))

OF_SENSORS, OF_SCANS = "notification", "scan"
"""What a gap is of; one of sensors names no source."""


@dataclass(frozen=True, slots=True)
class Gap:
    """What is missing, and between which times."""

    session_id: int
    source: str
    what: str
    from_us: int
    to_us: int
    count: int | None = None
    """Upper limit of what is lost; None if it is unknown."""
    counted: bool = True
    """Whether count is exact, and all of it lies between these times."""
    doubtful: bool = False
    """Whether it is unknown if there were any."""
    least_us: int = 300_000
    """A shorter piece of it inside a sweep is no loss, but the way from one chunk to the next."""

    def said(self, from_us: int, to_us: int) -> str:
        """A phrase on the part of it between these times."""
        exact = self.counted and (from_us, to_us) == (self.from_us, self.to_us)
        what = f"{self.what}s" if self.count is None else f"{'' if exact else 'up to '}{counted(self.count, self.what)}"
        of = f"'{self.source}'" if self.source else "sensors"
        doubt = ", if any were sent" if self.doubtful else ""
        return f"{what} of {of} from {from_us / 1e6:.3f} to {to_us / 1e6:.3f} s{doubt}"


def received_between(db: sqlite3.Connection, session_id: int, *, pages_lost: bool) -> tuple[int, int] | None:
    """When a session received something other than notifications, first and last; None if it did not. If pages are
    lost, what was received last may be too: then until its last sweep ended."""
    rows = [
        db.execute(f"SELECT min({first}), max({last}) FROM {table} WHERE session_id = ?", (session_id,)).fetchone()
        for table, first, last in _TIMES
    ]
    begin_us, end_us = db.execute(
        "SELECT min(from_us), max(to_us) FROM sweeps WHERE session_id = ?", (session_id,)
    ).fetchone()
    first_us = [row[0] for row in rows if row[0] is not None] + ([] if begin_us is None else [begin_us])
    last_us = [row[1] for row in rows if row[1] is not None] + ([] if end_us is None or not pages_lost else [end_us])
    return (min(first_us), max(last_us)) if first_us and last_us else None
