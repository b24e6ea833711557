"""What the store knows about sessions and sweeps, and the SQL for it, inside the caller's transaction."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from daq.keep.errors import NotThere
from daq.keep.json_text import digest, json_text
from daq.keep.store.checksums import insert_row


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """One run of the daemon on one jig."""

    id: int
    started_utc: str
    """ISO 8601 with offset: session time 0 on the wall clock, as far as that could be trusted."""
    monotonic_origin_ns: int
    software: str
    rig: str
    """The rig file's text, as used."""
    calibration_id: int
    simulated: bool
    client_id: int | None
    ended_us: int | None
    """None while it runs, or when it was cut off."""


@dataclass(frozen=True, slots=True)
class SweepRecord:
    """One sweep; its raw lies in the session between from_us and to_us."""

    id: int
    session_id: int
    client_id: int | None
    calibration_id: int
    from_us: int
    to_us: int | None
    """None while it runs, or when it was cut off."""
    gradient_pct: float
    plan: Mapping[str, Any]
    rider: Mapping[str, Any]
    """What was entered of the rider for this sweep: mass and the like. Never the name."""
    state: str | None
    """How it ended."""


@dataclass(frozen=True, slots=True)
class ResultRecord:
    """Something computed from a sweep. Computing it again adds another, with its own method."""

    id: int
    sweep_id: int
    kind: str
    method: str
    """Name and version of what computed it."""
    made_utc: str
    content: Any


def keep_calibration(db: Connection, content: Any) -> int:
    """The id of a calibration, kept now when its content is new."""
    text = json_text(content)
    row = db.execute("SELECT id FROM calibrations WHERE digest = ?", (digest(text),)).fetchone()
    if row is not None:
        return int(row[0])
    return insert_row(db, "calibrations", digest=digest(text), kept_utc=utc_now(), content=text)


def calibration(db: Connection, calibration_id: int) -> Any:
    """A calibration's content."""
    return json.loads(_row(db, "content", "calibration", calibration_id)[0])


def end_session(db: Connection, session_id: int, ended_us: int) -> None:
    """Marks a session as ended."""
    session(db, session_id)
    db.execute("UPDATE sessions SET ended_us = ? WHERE id = ?", (ended_us, session_id))


def session(db: Connection, session_id: int) -> SessionRecord:
    """One session."""
    return _session(_row(db, _SESSION, "session", session_id))


def sessions(db: Connection) -> list[SessionRecord]:
    """All sessions, oldest first."""
    return [_session(row) for row in db.execute(f"SELECT {_SESSION} FROM sessions ORDER BY id")]


def last_us(db: Connection, session_id: int) -> int:
    """The latest receipt time stored for a session, 0 when there is none."""
    session(db, session_id)
    found = [
        db.execute(f"SELECT max({column}) FROM {table} WHERE session_id = ?", (session_id,)).fetchone()[0] or 0
        for table, column in _TIMES
    ]
    return int(max(found))


def end_sweep(db: Connection, sweep_id: int, to_us: int, state: str) -> None:
    """Marks a sweep as ended."""
    sweep(db, sweep_id)
    db.execute("UPDATE sweeps SET to_us = ?, state = ? WHERE id = ?", (to_us, state, sweep_id))


def sweep(db: Connection, sweep_id: int) -> SweepRecord:
    """One sweep."""
    return _sweep(_row(db, _SWEEP, "sweep", sweep_id))


def sweeps(db: Connection) -> list[SweepRecord]:
    """All sweeps, oldest first."""
    return [_sweep(row) for row in db.execute(f"SELECT {_SWEEP} FROM sweeps ORDER BY id")]


def add_result(db: Connection, sweep_id: int, kind: str, method: str, content: Any) -> int:
    """A new result."""
    sweep(db, sweep_id)
    text = json_text(content)
    return insert_row(db, "results", sweep_id=sweep_id, kind=kind, method=method, made_utc=utc_now(), content=text)


def results(db: Connection, sweep_id: int, kind: str | None) -> list[ResultRecord]:
    """The results of a sweep, oldest first; of all kinds when kind is None."""
    rows = db.execute(
        "SELECT id, sweep_id, kind, method, made_utc, content FROM results "
        "WHERE sweep_id = ? AND (? IS NULL OR kind = ?) ORDER BY id",
        (sweep_id, kind, kind),
    )
    return [ResultRecord(*_decoded(row, json.loads, 5)) for row in rows]


def add_copy(
    db: Connection,
    kind: str,
    path: Path,
    sweep_ids: Sequence[int],
    *,
    client_id: int | None = None,
    made_utc: str | None = None,
) -> None:
    """Notes that these sweeps were copied to a file or folder; kind: backup or export.

    client_id: whose copy it is when it is of one client alone. made_utc: now when left out.
    """
    copy_id = db.execute(
        "INSERT INTO copies(kind, made_utc, path) VALUES (?, ?, ?)", (kind, made_utc or utc_now(), str(path.resolve()))
    ).lastrowid
    if client_id is not None:
        db.execute("UPDATE copies SET client_id = ? WHERE id = ?", (client_id, copy_id))
    db.executemany("INSERT INTO copied_sweeps(copy_id, sweep_id) VALUES (?, ?)", [(copy_id, i) for i in sweep_ids])


def copies_of(db: Connection, sweep_ids: Sequence[int], client_id: int | None) -> list[tuple[str, str, str]]:
    """(kind, made_utc, path) of what may hold these sweeps or this client, oldest first.

    A backup is the whole store: one made since the client is known holds the name even when no sweep was ridden.
    """
    return db.execute(
        "SELECT DISTINCT kind, made_utc, path FROM copies LEFT JOIN copied_sweeps ON copy_id = copies.id "
        "WHERE sweep_id IN (SELECT value FROM json_each(?1)) OR copies.client_id = ?2 "
        "OR (kind = 'backup' AND made_utc >= (SELECT since_utc FROM clients WHERE id = ?2)) ORDER BY copies.id",
        (json.dumps(list(sweep_ids)), client_id),
    ).fetchall()


def utc_now() -> str:
    """The wall clock, ISO 8601 with offset, to the millisecond."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds")


_SESSION = "id, started_utc, monotonic_origin_ns, software, rig, calibration_id, simulated, client_id, ended_us"
_SWEEP = "id, session_id, client_id, calibration_id, from_us, to_us, gradient_pct, plan, rider, state"
_TIMES = (("chunks", "last_us"), ("notifications", "received_us"), ("hellos", "received_us"), ("events", "received_us"))


def _row(db: Connection, columns: str, what: str, row_id: int) -> tuple[Any, ...]:
    row = db.execute(f"SELECT {columns} FROM {what}s WHERE id = ?", (row_id,)).fetchone()
    if row is None:
        raise NotThere(f"no {what} {row_id} in this store")
    return tuple(row)


def _session(row: tuple[Any, ...]) -> SessionRecord:
    return SessionRecord(*_decoded(row, bool, 6))


def _sweep(row: tuple[Any, ...]) -> SweepRecord:
    return SweepRecord(*_decoded(row, json.loads, 7, 8))


def _decoded(row: tuple[Any, ...], decode: Callable[[Any], Any], *columns: int) -> tuple[Any, ...]:
    return tuple(decode(value) if i in columns else value for i, value in enumerate(row))
