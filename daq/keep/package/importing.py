"""Brings an exported sweep back into a store, where it can be computed again to the same answer."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from sqlite3 import Connection
from typing import Any
from urllib.parse import unquote

import numpy as np

from daq.items import Event, Hello, Item, Notification
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.json_text import json_text
from daq.keep.package.datapackage import read_descriptor
from daq.keep.package.tables import read_table
from daq.keep.store import Store, sessions, writing
from daq.keep.store.checksums import insert_row
from daq.keep.store.chunks import CLOSED_LEVEL, encode
from daq.keep.store.reading import merged, point_order
from daq.keep.store.repack import TARGET_SCANS
from daq.values import Samples, cut


class AlreadyThere(StoreError):
    """The store has this sweep."""


def import_sweep(store: Store, folder: Path) -> int:
    """The id of the sweep made from an exported one, in a session of its own.

    Every file is checked against its hash first. No client is made: the pseudonym stands among what was entered of
    the rider. Raises StoreDamaged naming the file that is not what was exported, AlreadyThere when the store has the
    sweep; nothing is stored then.
    """
    try:
        sweep, calibration = exported_sweep(folder)
        items = list(exported_items(folder))
        with store.writing() as db:
            _refuse_twice(db, sweep, folder)
            return _insert(db, sweep, calibration, items, exported_results(folder))
    except (KeyError, ValueError, TypeError) as error:
        raise StoreDamaged(f"{folder} is not an exported sweep: {type(error).__name__}: {error}") from error


def exported_sweep(folder: Path) -> tuple[dict[str, Any], Any]:
    """The one row that says what an exported sweep was, and the calibration it was ridden with.

    Checks every file against its hash. Raises StoreDamaged naming one that is not what was exported.
    """
    read_descriptor(folder)
    (sweep,) = _rows(folder, "sweep")
    calibrations = {row["calibration"]: row["content"] for row in _rows(folder, "calibrations")}
    return sweep, json.loads(calibrations[sweep["calibration"]])


def exported_results(folder: Path) -> Iterator[dict[str, Any]]:
    """The results stored with an exported sweep, oldest first; content as JSON text."""
    return _rows(folder, "results")


def exported_items(folder: Path) -> Iterator[Item]:
    """What the sweep received, in receipt order, as a store gives it."""
    names = sorted(path.name.removesuffix(".parquet").removesuffix(".csv.gz") for path in folder.glob("raw_*"))
    return merged([iter(_points(folder)), *(_scans(folder, name) for name in names)])


def _refuse_twice(db: Connection, sweep: dict[str, Any], folder: Path) -> None:
    found = db.execute(
        "SELECT sweeps.id FROM sweeps JOIN sessions ON sessions.id = session_id "
        "WHERE started_utc = ? AND monotonic_origin_ns = ? AND from_us = ?",
        (sweep["session_started_utc"], int(sweep["monotonic_origin_ns"]), int(sweep["from_us"])),
    ).fetchone()
    if found:
        raise AlreadyThere(f"{folder} is in this store already, as sweep {found[0]}")


def _insert(
    db: Connection, sweep: dict[str, Any], calibration: Any, items: list[Item], results: Iterator[dict[str, Any]]
) -> int:
    calibration_id = sessions.keep_calibration(db, calibration)
    session_id = insert_row(
        db,
        "sessions",
        started_utc=sweep["session_started_utc"],
        monotonic_origin_ns=int(sweep["monotonic_origin_ns"]),
        software=sweep["software"],
        rig=sweep["rig"],
        calibration_id=calibration_id,
        simulated=int(sweep["simulated"] in (True, "true")),
    )
    for item in items:
        writing.insert(db, session_id, item, encode(item, level=CLOSED_LEVEL) if isinstance(item, Samples) else b"")
    rider = {**json.loads(sweep["rider_entries"]), "exported_as": sweep["rider"] or None}
    sweep_id = insert_row(
        db,
        "sweeps",
        session_id=session_id,
        calibration_id=calibration_id,
        from_us=int(sweep["from_us"]),
        to_us=int(sweep["to_us"]) if sweep["to_us"] not in (None, "") else None,
        state=sweep["state"] or None,
        gradient_pct=float(sweep["gradient_pct"]),
        plan=sweep["plan"],
        rider=json_text(rider),
    )
    for one in results:
        kept = {name: one[name] for name in ("kind", "method", "made_utc", "content")}
        insert_row(db, "results", sweep_id=sweep_id, **kept)
    sessions.end_session(db, session_id, sessions.last_us(db, session_id))
    return sweep_id


def _points(folder: Path) -> list[Item]:
    found: list[Item] = [
        Hello(int(row["received_us"]), row["source"], json.loads(row["content"])) for row in _rows(folder, "hellos")
    ]
    for row in _rows(folder, "notifications"):
        payload = bytes.fromhex(row["payload"])
        found.append(Notification(int(row["received_us"]), row["source"], row["characteristic"], payload))
    for row in _rows(folder, "events"):
        found.append(Event(int(row["received_us"]), row["kind"], json.loads(row["content"])))
    return sorted(found, key=point_order)


def _scans(folder: Path, name: str) -> Iterator[Samples]:
    columns = read_table(folder, name)
    counts = [column for column in columns if column.startswith("count_")]
    whole = Samples(
        source=unquote(name.removeprefix("raw_")),
        received_us=np.array(columns["received_us"], dtype=np.int64),
        ticks_us=np.array(columns["ticks_us"], dtype=np.uint32),
        sequence=np.array(columns["sequence"], dtype=np.uint16),
        status=np.array(columns["status"], dtype=np.uint8),
        counts=np.array([columns[f"count_{i}"] for i in range(len(counts))], dtype=np.int32).T,
    )
    for start in range(0, len(whole), TARGET_SCANS):
        yield cut(whole, slice(start, start + TARGET_SCANS))


def _rows(folder: Path, name: str) -> Iterator[dict[str, Any]]:
    columns = read_table(folder, name)
    for values in zip(*columns.values(), strict=True):
        yield dict(zip(columns, values, strict=True))
