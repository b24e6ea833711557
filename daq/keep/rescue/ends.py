"""Sweeps that ended after the last scan of their session. The page with the last rows of a table may be one of an
earlier state, and the index of these rows as old: both are sound by themselves, and no later number shows the gap.
"""

from __future__ import annotations

import sqlite3

from daq.items import BOARD, LOST
from daq.keep.rescue.gaps import is_typed

LEAST_US = 1_500_000
"""A shorter silence is none: what is received in a second is stored together."""


def silent_ends(db: sqlite3.Connection) -> list[str]:
    """A sentence for each such sweep, unless an event says already what is lost there, or chunks of a later session
    follow: then it was silent."""
    said = []
    last_of_all = db.execute("SELECT session_id FROM chunks ORDER BY id DESC LIMIT 1").fetchone() or (0,)
    rows = db.execute(
        "SELECT sessions.id, rig, sweeps.id, from_us, to_us, (SELECT max(last_us) FROM chunks WHERE session_id = "
        "sessions.id AND source_id IN (SELECT id FROM sources WHERE name = ?)) "
        "FROM sweeps JOIN sessions ON sessions.id = session_id WHERE to_us IS NOT NULL AND sessions.id >= ? "
        "ORDER BY sweeps.id",
        (BOARD, *last_of_all),
    ).fetchall()
    for session_id, rig, sweep_id, from_us, to_us, last_us in rows:
        last_us = max(from_us, last_us or 0)
        if to_us - last_us > LEAST_US and not is_typed(rig) and not _is_told(db, session_id, last_us, to_us):
            said.append(
                f"session {session_id}: no scan of '{BOARD}' follows {last_us / 1e6:.3f} s, though sweep {sweep_id} "
                f"went on until {to_us / 1e6:.3f} s: it was silent, or what it sent is lost"
            )
    return said


def _is_told(db: sqlite3.Connection, session_id: int, from_us: int, to_us: int) -> bool:
    """Whether an event says that scans of the board are lost there; one of sensors says nothing of them."""
    of_end = (
        "SELECT 1 FROM events WHERE session_id = ? AND kind = ? AND received_us BETWEEN ? AND ? "
        "AND json_extract(content, '$.source') = ?"
    )
    return db.execute(of_end, (session_id, LOST, from_us, to_us, BOARD)).fetchone() is not None
