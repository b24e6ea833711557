"""What the store knows about sessions and sweeps, and the SQL for it, inside the caller's transaction."""

from __future__ import annotations

import dataclasses
import datetime
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection
from typing import Any, TypeVar

from daq.items import LOST
from daq.keep.errors import NotThere, StoreDamaged
from daq.keep.json_text import digest, json_text
from daq.keep.store.checksums import row_crc
from daq.keep.store.rows import Row, columns_of, insert_row, sound_rows, twin_of, update_row


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """One run of the daemon on one jig."""

    id: int
    started_utc: str
    """ISO 8601 with offset: session time 0 by the wall clock, as far as that could be trusted."""
    monotonic_origin_ns: int
    software: str
    rig: str
    """The rig file's text, as used."""
    calibration_id: int
    simulated: bool
    client_id: int | None
    ended_us: int | None
    """None while it runs, or if it was cut off."""


@dataclass(frozen=True, slots=True)
class SweepRecord:
    """One sweep; its raw data is in the session between from_us and to_us."""

    id: int
    session_id: int
    client_id: int | None
    calibration_id: int
    from_us: int
    to_us: int | None
    """None while it runs, or if it was cut off."""
    gradient_pct: float
    plan: Mapping[str, Any]
    rider: Mapping[str, Any]
    """What was entered about the rider for this sweep: mass and the like. Never the name."""
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
    """The id of a calibration; stored now if its content is new."""
    text = json_text(content)
    row = db.execute("SELECT id FROM calibrations WHERE digest = ?", (digest(text),)).fetchone()
    if row is not None:
        return int(row[0])
    return insert_row(db, "calibrations", digest=digest(text), kept_utc=utc_now(), content=text)


def calibration(db: Connection, calibration_id: int) -> Any:
    """A calibration's content."""
    return json.loads(_one(db, "calibration", calibration_id)["content"])


def end_session(db: Connection, session_id: int, ended_us: int | None) -> None:
    """Marks a session as ended; with None as gone on after its end."""
    session(db, session_id)
    update_row(db, "sessions", session_id, ended_us=ended_us)


def session(db: Connection, session_id: int) -> SessionRecord:
    """One session."""
    return _session(_one(db, "session", session_id))


def sessions(db: Connection, damaged: Callable[[StoreDamaged], None] | None = None) -> list[SessionRecord]:
    """All sessions, oldest first."""
    return [_session(row) for row in sound_rows(db, "sessions", damaged=damaged)]


def last_us(db: Connection, session_id: int) -> int:
    """The latest receipt time stored for a session, 0 when there is none."""
    session(db, session_id)
    found = [
        db.execute(f"SELECT max({column}) FROM {table} WHERE session_id = ?", (session_id,)).fetchone()[0] or 0
        for table, column in _TIMES
    ]
    return int(max(found))


def end_sweep(db: Connection, sweep_id: int, to_us: int | None, state: str | None) -> None:
    """Marks a sweep as ended; with None as gone on after its end."""
    sweep(db, sweep_id)
    update_row(db, "sweeps", sweep_id, to_us=to_us, state=state)


def sweep(db: Connection, sweep_id: int) -> SweepRecord:
    """One sweep."""
    return _sweep(_one(db, "sweep", sweep_id))


def sweeps(db: Connection, damaged: Callable[[StoreDamaged], None] | None = None) -> list[SweepRecord]:
    """All sweeps, oldest first."""
    return _each(_sweep, sound_rows(db, "sweeps", damaged=damaged), damaged)


def losses(db: Connection, sweep: SweepRecord) -> list[str]:
    """What the events of daq.items.LOST in a sweep say is lost of it."""
    where = "session_id = ? AND kind = ? AND received_us >= ? AND received_us < ?"
    window = (sweep.session_id, LOST, sweep.from_us, 2**63 - 1 if sweep.to_us is None else sweep.to_us)
    rows = sound_rows(db, "events", where, window, damaged=lambda _: None)
    return [str(json.loads(row["content"]).get("said", "")) for row in rows]


def add_result(db: Connection, sweep_id: int, kind: str, method: str, content: Any) -> int:
    """A new result."""
    sweep(db, sweep_id)
    text = json_text(content)
    return insert_row(db, "results", sweep_id=sweep_id, kind=kind, method=method, made_utc=utc_now(), content=text)


def results(
    db: Connection, sweep_id: int, kind: str | None, damaged: Callable[[StoreDamaged], None] | None = None
) -> list[ResultRecord]:
    """The results of a sweep, oldest first; of all kinds when kind is None."""
    where = "sweep_id = ?1 AND (?2 IS NULL OR kind = ?2)"
    return _each(_result, sound_rows(db, "results", where, (sweep_id, kind), damaged=damaged), damaged)


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
    made_utc = made_utc or utc_now()
    copy_id = insert_row(db, "copies", kind=kind, made_utc=made_utc, path=str(path.resolve()), client_id=client_id)
    for sweep_id in sweep_ids:
        row = {"copy_id": copy_id, "sweep_id": sweep_id}
        if "crc" in columns_of(db, "copied_sweeps"):
            row["crc"] = row_crc("copied_sweeps", row)
        names = ", ".join(row)
        db.execute(f"INSERT INTO copied_sweeps({names}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))


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


def at_utc(session: SessionRecord, at_us: int) -> str:
    """A session time as wall-clock time, ISO 8601 in UTC, to the millisecond; "unknown" if the start is lost."""
    try:
        start = datetime.datetime.fromisoformat(session.started_utc)
    except ValueError:
        return "unknown"
    at = start + datetime.timedelta(microseconds=at_us)
    return at.astimezone(datetime.UTC).isoformat(timespec="milliseconds")


def utc_now() -> str:
    """The wall clock, ISO 8601 with offset, to the millisecond."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds")


T = TypeVar("T")
_RESULT = ("id", "sweep_id", "kind", "method", "made_utc", "content")
_TIMES = (("chunks", "last_us"), ("notifications", "received_us"), ("hellos", "received_us"), ("events", "received_us"))


def _one(db: Connection, what: str, row_id: int) -> Row:
    row = next(sound_rows(db, f"{what}s", "id = ?", (row_id,)), None) or twin_of(db, f"{what}s", row_id)
    if row is None:
        raise NotThere(f"no {what} {row_id} in this store")
    return row


def _each(read: Callable[[Row], T], rows: Iterable[Row], damaged: Callable[[StoreDamaged], None] | None) -> list[T]:
    """What these rows say. One that cannot be raises StoreDamaged, or is passed to `damaged` and left out: rows may
    have been sealed by somebody else."""
    found = []
    for row in rows:
        try:
            found.append(read(row))
        except StoreDamaged as error:
            if damaged is None:
                raise
            damaged(error)
    return found


def _result(row: Row) -> ResultRecord:
    content = json.loads(row["content"])
    if row["kind"] == "onset" and not _is_an_answer(content):
        raise StoreDamaged(f"row {row['id']} of results says nothing that an answer has", row_id=row["id"])
    return ResultRecord(*(content if name == "content" else row[name] for name in _RESULT))


def _is_an_answer(content: Any) -> bool:
    """Whether a place and its interval, where there are any, are numbers."""
    if not isinstance(content, dict):
        return False
    interval_mm = content.get("interval_95_mm") or []
    numbers = [content.get("onset_mm"), *interval_mm] if isinstance(interval_mm, list) else ["none"]
    return all(number is None or isinstance(number, int | float) for number in numbers)


def _session(row: Row) -> SessionRecord:
    values = {field.name: row[field.name] for field in dataclasses.fields(SessionRecord)}
    return SessionRecord(**{**values, "simulated": bool(row["simulated"])})


def _sweep(row: Row) -> SweepRecord:
    values = {field.name: row[field.name] for field in dataclasses.fields(SweepRecord)}
    plan, rider = json.loads(row["plan"]), json.loads(row["rider"])
    if not isinstance(rider, dict) or not isinstance(plan, dict | None):
        raise StoreDamaged(f"row {row['id']} of sweeps says nothing that a sweep has", row_id=row["id"])
    return SweepRecord(**{**values, "plan": plan, "rider": rider})
