"""Calibrations kept for ever, with their certificates, their checks with a weight, and the benches they were made on.

Everything here is only ever added. A bench is stored step by step, so that it can be resumed after an interruption.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Any

from daq.keep.errors import NotThere, StoreDamaged
from daq.keep.json_text import digest, json_text
from daq.keep.store.rows import Row, insert_row, sound_rows
from daq.keep.store.sessions import keep_calibration, utc_now
from daq.keep.store.store import Store
from daq.measure.calibration import Calibration, from_dict, to_dict
from daq.measure.calibration.status import SensitivityCheck


@dataclass(frozen=True, slots=True)
class CalibrationRecord:
    """One calibration; its number in the store is its version."""

    id: int
    kept_utc: str
    calibration: Calibration
    bench_id: int | None
    """None: it was read from a file."""


@dataclass(frozen=True, slots=True)
class BenchRecord:
    """One guided calibration: its set-up, and its steps so far."""

    id: int
    session_id: int
    begun_utc: str
    setup: Mapping[str, Any]
    steps: tuple[tuple[str, Mapping[str, Any]], ...]


def keep(store: Store, calibration: Calibration) -> int:
    """The number of a calibration; stored now if its content is new."""
    with store.writing() as db:
        return keep_calibration(db, to_dict(calibration))


def calibrations(store: Store, damaged: Callable[[StoreDamaged], None] | None = None) -> list[CalibrationRecord]:
    """All calibrations, oldest first; a row without content, left by a salvage, is skipped. A damaged one raises
    StoreDamaged, or is passed to `damaged` and left out.
    """
    with store.reading() as db:
        benches = {row["calibration_id"]: row["bench_id"] for row in sound_rows(db, "certificates", damaged=damaged)}
        rows = list(sound_rows(db, "calibrations", damaged=damaged))
    known = []
    for row in rows:
        try:
            content = json.loads(row["content"])
            if "format" not in content:
                continue
            known.append(CalibrationRecord(row["id"], row["kept_utc"], from_dict(content), benches.get(row["id"])))
        except (
            TypeError,
            ValueError,
        ) as error:  # sealed by somebody else: a checksum is no proof that a program of ours wrote it
            damage = StoreDamaged(f"row {row['id']} of calibrations holds none: {error}", row_id=row["id"])
            if damaged is None:
                raise damage from error
            damaged(damage)
    return known


def found(store: Store, name: str) -> CalibrationRecord:
    """The calibration with this number, or the latest with this id. NotThere, which names the existing ones, if there
    is none."""
    there = calibrations(store)
    for one in reversed(there):
        if name in (str(one.id), one.calibration.id):
            return one
    known = ", ".join(f"{one.id} ({one.calibration.id})" for one in there) or "none yet"
    raise NotThere(f"no calibration {name!r} in {store.path}; it has {known}")


def add_certificate(store: Store, calibration: Calibration, bench_id: int, content: Mapping[str, Any]) -> int:
    """Stores a calibration made on a bench with its certificate, both or neither; returns the calibration's number."""
    with store.writing() as db:
        number = keep_calibration(db, to_dict(calibration))
        insert_row(
            db,
            "certificates",
            calibration_id=number,
            bench_id=bench_id,
            made_utc=utc_now(),
            content=json_text(content),
        )
    return number


def certificate(store: Store, calibration_id: int) -> Any:
    """The content of a calibration's certificate. NotThere if it was not made on a bench of this store."""
    with store.reading() as db:
        rows = list(sound_rows(db, "certificates", "calibration_id = ?", (calibration_id,)))
    if not rows:
        raise NotThere(
            f"calibration {calibration_id} has no certificate: it came as a file, or was not made with this store"
        )
    return json.loads(rows[-1]["content"])


def add_check(store: Store, calibration: Calibration, check: SensitivityCheck) -> int:
    """Stores a check with a weight, passed or failed."""
    with store.writing() as db:
        return insert_row(
            db,
            "weight_checks",
            calibration_id=keep_calibration(db, to_dict(calibration)),
            made_utc=utc_now(),
            content=json_text(check),
        )


def checks(store: Store, calibration: Calibration) -> tuple[SensitivityCheck, ...]:
    """All checks of a calibration, oldest first."""
    with store.reading() as db:
        of_this = "calibration_id IN (SELECT id FROM calibrations WHERE digest = ?)"
        rows = list(sound_rows(db, "weight_checks", of_this, (digest(json_text(to_dict(calibration))),)))
    return tuple(SensitivityCheck(**json.loads(row["content"])) for row in rows)


def begin_bench(store: Store, session_id: int, setup: Mapping[str, Any]) -> int:
    """A new bench's number."""
    with store.writing() as db:
        return insert_row(db, "benches", session_id=session_id, begun_utc=utc_now(), setup=json_text(setup))


def add_step(store: Store, bench_id: int, kind: str, content: Mapping[str, Any]) -> None:
    """Stores one step of a bench; durable on return."""
    with store.writing() as db:
        insert_row(db, "bench_steps", bench_id=bench_id, made_utc=utc_now(), kind=str(kind), content=json_text(content))


def bench(store: Store, bench_id: int) -> BenchRecord:
    """One bench. NotThere if there is none with this number."""
    with store.reading() as db:
        row = next(sound_rows(db, "benches", "id = ?", (bench_id,)), None)
        if row is None:
            raise NotThere(f"no bench {bench_id} in {store.path}")
        return _bench(db, row)


def benches(store: Store) -> list[BenchRecord]:
    """All benches, oldest first."""
    with store.reading() as db:
        return [_bench(db, row) for row in sound_rows(db, "benches")]


def versions(store: Store, bench_id: int) -> int:
    """How many calibrations have come from a bench so far."""
    with store.reading() as db:
        return int(db.execute("SELECT count(*) FROM certificates WHERE bench_id = ?", (bench_id,)).fetchone()[0])


def _bench(db: Connection, row: Row) -> BenchRecord:
    steps = sound_rows(db, "bench_steps", "bench_id = ?", (row["id"],))
    return BenchRecord(
        row["id"],
        row["session_id"],
        row["begun_utc"],
        json.loads(row["setup"]),
        tuple((step["kind"], json.loads(step["content"])) for step in steps),
    )
