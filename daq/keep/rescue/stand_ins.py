"""Stand-ins for rows others belong to, so that nothing whole is out of reach because of one that is lost."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from daq.keep.store.rows import insert_row, update_row
from daq.keep.store.sessions import keep_calibration
from daq.values import UNKNOWN_UTC


def place_stand_ins(db: sqlite3.Connection, problems: list[str]) -> None:
    """Puts a row in the place of every one that is missed; each is told."""
    for source_id in _missed(db, "source_id", "sources", ("chunks", "notifications", "hellos")):
        problems.append(f"the name of source {source_id} is lost")
        insert_row(db, "sources", id=source_id, name=f"source {source_id}")
    _place_visits(db, problems)
    of_sessions = ("chunks", "notifications", "hellos", "events", "sweeps", "visits")
    for session_id in _missed(db, "session_id", "sessions", of_sessions):
        problems.append(f"session {session_id}: start, rig and calibration are lost, what it received is not")
        insert_row(
            db,
            "sessions",
            id=session_id,
            started_utc=_began_utc(db, session_id),
            monotonic_origin_ns=0,
            software="salvaged",
            rig="",
            calibration_id=keep_calibration(db, {}),
            simulated=0,
        )
    for table in ("sessions", "sweeps", "certificates", "weight_checks"):
        gone = "calibration_id NOT IN (SELECT id FROM calibrations)"
        for (row_id,) in db.execute(f"SELECT id FROM {table} WHERE {gone}").fetchall():
            problems.append(f"the calibration of number {row_id} of {table} is lost")
            update_row(db, table, row_id, calibration_id=keep_calibration(db, {}))
    lost = set(_missed(db, "client_id", "clients", ("client_names", "consents", "visits", "sweeps", "sessions")))
    for of in ("kept_id", "other_id"):
        lost.update(_missed(db, of, "clients", ("client_joins",)))
    for client_id in sorted(lost):
        pseudonym = _pseudonym(db, client_id)
        problems.append(f"client {client_id} is lost, but for what was kept of a visit: called {pseudonym} from now on")
        since_utc = _one(db, "SELECT min(begun_utc) FROM visits WHERE client_id = ?", client_id) or UNKNOWN_UTC
        insert_row(db, "clients", id=client_id, pseudonym=pseudonym, since_utc=since_utc, keep_until=None)
    for bench_id in _missed(db, "bench_id", "benches", ("bench_steps", "certificates")):
        problems.append(f"the set-up of bench {bench_id} is lost; its steps are kept")
        insert_row(db, "benches", id=bench_id, session_id=0, begun_utc=UNKNOWN_UTC, setup="{}")


def _place_visits(db: sqlite3.Connection, problems: list[str]) -> None:
    for visit_id in _missed(db, "visit_id", "visits", ("visit_notes",)):
        notes = db.execute(
            "SELECT kind, made_utc, content FROM visit_notes WHERE visit_id = ? ORDER BY id", (visit_id,)
        ).fetchall()
        ridden = [json.loads(content).get("sweep_id") for kind, _, content in notes if kind == "sweep"]
        sweep = db.execute(
            "SELECT session_id, client_id FROM sweeps WHERE id IN (SELECT value FROM json_each(?))",
            (json.dumps(ridden),),
        ).fetchone() or (None, None)
        session_id = sweep[0] or _one(db, "SELECT max(id) FROM sessions") or 1
        client_id = sweep[1] or (_one(db, "SELECT max(id) FROM clients") or 0) + 1
        problems.append(f"of visit {visit_id} only its notes are left; its client is known by its sweeps, if any")
        insert_row(db, "visits", id=visit_id, client_id=client_id, session_id=session_id, begun_utc=notes[0][1])


def _missed(db: sqlite3.Connection, column: str, table: str, of: tuple[str, ...]) -> list[int]:
    """The numbers of rows that others name and nothing is left of."""
    named = " UNION ".join(f"SELECT {column} FROM {one} WHERE {column} IS NOT NULL" for one in of)
    return sorted(row[0] for row in db.execute(f"{named} EXCEPT SELECT id FROM {table}"))


def _began_utc(db: sqlite3.Connection, session_id: int) -> str:
    visit = _one(db, "SELECT min(begun_utc) FROM visits WHERE session_id = ?", session_id)
    result = _one(
        db, "SELECT min(made_utc) FROM results JOIN sweeps ON sweeps.id = sweep_id WHERE session_id = ?", session_id
    )
    return str(visit or result or UNKNOWN_UTC)


def _pseudonym(db: sqlite3.Connection, client_id: int) -> str:
    """As it stands with a sweep; else one nobody has."""
    for (rider,) in db.execute("SELECT rider FROM sweeps WHERE client_id = ?", (client_id,)).fetchall():
        known = json.loads(rider).get("pseudonym")
        if known and not _one(db, "SELECT 1 FROM clients WHERE pseudonym = ?", known):
            return str(known)
    return f"R-LOST{client_id:02d}"


def _one(db: sqlite3.Connection, sql: str, *values: Any) -> Any:
    return db.execute(sql, values).fetchone()[0] if db.execute(sql, values).fetchone() else None
