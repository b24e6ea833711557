"""Sweeps whose row is lost, from the event that began each: it carries plan, mass, channels, zero and standing."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from typing import Any

from daq.items import FITTER, SWEEP_BEGUN
from daq.keep.store.rows import insert_row
from daq.sweep.run import State, Trigger

ENDS = {str(Trigger.STOP): State.STOPPED, str(Trigger.ENOUGH): State.FINISHED}
MOST_SWEEPS = 1_000_000
"""No store holds more; a higher number is damaged, or somebody's joke that would fill the memory."""
AT_MOST_US = 10_000_000
"""The row of a sweep is put this long before the event that begins it, at most."""


@dataclass(frozen=True, slots=True)
class _Begun:
    session_id: int
    at_us: int
    content: dict[str, Any]
    until_us: int | None
    """When the next sweep of the session began."""


def rebuild_sweeps(db: sqlite3.Connection, problems: list[str]) -> list[str]:
    """Puts a row for every sweep that began and has none; a sentence for each. Of those that cannot be, problems."""
    lost = [begun for begun in _all_begun(db) if not _has_row(db, begun)]
    said = []
    for begun, number in zip(lost, _numbers(db, len(lost), problems), strict=True):
        try:
            said.append(_rebuild(db, begun, number))
        except (KeyError, TypeError, ValueError, AttributeError, sqlite3.Error):
            at = f"at {begun.at_us / 1e6:.1f} s of session {begun.session_id}"
            problems.append(f"the sweep that began {at} cannot be rebuilt: the event that began it is none")
    return said


def _all_begun(db: sqlite3.Connection) -> list[_Begun]:
    rows = db.execute(
        "SELECT session_id, received_us, content, lead(received_us) OVER (PARTITION BY session_id ORDER BY "
        "received_us, id) FROM events WHERE kind = ? ORDER BY session_id, received_us, id",
        (SWEEP_BEGUN,),
    ).fetchall()
    return [_Begun(session_id, at_us, json.loads(content), until) for session_id, at_us, content, until in rows]


def _has_row(db: sqlite3.Connection, begun: _Begun) -> bool:
    return bool(
        db.execute(
            "SELECT 1 FROM sweeps WHERE session_id = ? AND from_us BETWEEN ? AND ?",
            (begun.session_id, begun.at_us - AT_MOST_US, begun.at_us),
        ).fetchone()
    )


def _numbers(db: sqlite3.Connection, count: int, problems: list[str]) -> list[int]:
    """The numbers they had, where as many are missing as sweeps are; else new ones."""
    there = {row[0] for row in db.execute("SELECT id FROM sweeps")}
    named = {row[0] for row in db.execute("SELECT DISTINCT sweep_id FROM results")}
    for (content,) in db.execute("SELECT content FROM visit_notes WHERE kind = 'sweep'").fetchall():
        named |= {number for number in [json.loads(content).get("sweep_id")] if isinstance(number, int)}
    named = {number for number in named if 0 < number <= MOST_SWEEPS}
    top = max(there | named, default=0)
    for missing in (sorted(named - there), sorted(set(range(1, min(top, MOST_SWEEPS) + 1)) - there)):
        if len(missing) == count:
            return missing
    if named - there:
        problems.append("which sweep had which number is lost: those rebuilt have new ones, without earlier results")
    return list(range(top + 1, top + 1 + count))


def _rebuild(db: sqlite3.Connection, begun: _Begun, number: int) -> str:
    content, session_id = begun.content, begun.session_id
    client = _client(db, number, session_id)
    to_us, state = _end(db, begun)
    insert_row(
        db,
        "sweeps",
        id=number,
        session_id=session_id,
        client_id=None if client is None else client[0],
        calibration_id=_calibration(db, begun),
        from_us=begun.at_us,
        to_us=to_us,
        state=state,
        gradient_pct=float(content["plan"].get("gradient_pct", 0.0)),
        plan=json.dumps(content["plan"], sort_keys=True, separators=(",", ":"), ensure_ascii=False),
        rider=json.dumps({"mass_kg": content["mass_kg"], "pseudonym": client[1] if client else "R-0000"}),
    )
    return (
        f"sweep {number} is rebuilt from the event that began it at {begun.at_us / 1e6:.1f} s of session {session_id}"
    )


def _client(db: sqlite3.Connection, number: int, session_id: int) -> tuple[int, str] | None:
    """Whose it was: of the visit that names it, else of the only visit of its session."""
    of_visit = "SELECT clients.id, pseudonym FROM visits JOIN clients ON clients.id = client_id WHERE"
    noted = db.execute(
        f"{of_visit} visits.id IN (SELECT visit_id FROM visit_notes WHERE kind = 'sweep' "
        "AND json_extract(content, '$.sweep_id') = ?)",
        (number,),
    ).fetchall()
    alone = db.execute(f"{of_visit} session_id = ?", (session_id,)).fetchall()
    found = noted or (alone if len(set(alone)) == 1 else [])
    return found[0] if found else None


def _calibration(db: sqlite3.Connection, begun: _Begun) -> int:
    """The latest of the id the event names, else that of the session."""
    name = (begun.content.get("calibration") or {}).get("id")
    row = db.execute(
        "SELECT max(id) FROM calibrations WHERE ?1 IS NOT NULL AND json_extract(content, '$.id') = ?1", (name,)
    ).fetchone()
    of_session = db.execute("SELECT calibration_id FROM sessions WHERE id = ?", (begun.session_id,)).fetchone()
    return int(row[0] or of_session[0])


def _end(db: sqlite3.Connection, begun: _Begun) -> tuple[int | None, str | None]:
    """When and how the fitter ended it. No state when it ended by itself: computing it again tells which, and when."""
    rows = db.execute(
        "SELECT received_us, json_extract(content, '$.event') FROM events WHERE session_id = ? AND kind = ? "
        "AND received_us > ? AND (?4 IS NULL OR received_us < ?4) ORDER BY received_us",
        (begun.session_id, FITTER, begun.at_us, begun.until_us),
    )
    for at_us, event in rows.fetchall():
        if event in ENDS:
            return at_us + 1, str(ENDS[event])
    return begun.until_us, None
