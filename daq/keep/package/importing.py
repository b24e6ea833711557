"""Brings an exported sweep back into a store, where it can be computed again to the same answer."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Generator, Iterator
from pathlib import Path
from sqlite3 import Connection
from typing import Any
from urllib.parse import unquote

import numpy as np
import numpy.typing as npt

from daq.items import Event, Hello, Item, Notification
from daq.keep.bounded import Patience, from_json
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.json_text import json_text
from daq.keep.package.batches import batches, column_names
from daq.keep.package.datapackage import Package, read_package
from daq.keep.received import checked
from daq.keep.store import Store, sessions, writing
from daq.keep.store.chunks import IMPORT_LEVEL, encode
from daq.keep.store.reading import merged
from daq.keep.store.rows import insert_row
from daq.measure.calibration import from_dict
from daq.rig import parse_rig
from daq.text import checked_line
from daq.values import Samples
from daq.wire.scans import MAX_CHANNELS


class AlreadyThere(StoreError):
    """The store has this sweep."""


def import_sweep(store: Store, folder: Path) -> int:
    """The id of the sweep made from an exported one, in a session of its own.

    Every file is checked against its hash first, and no other is read. No client is created: the pseudonym is part of
    the rider's data. Raises StoreDamaged that names the file that is not what was exported, or its impossible content;
    AlreadyThere if the store has the sweep; then nothing is stored.
    """
    patience = Patience(folder, Patience.IMPORTED)
    package = read_package(folder)
    with as_damage(folder), store.writing() as db:
        sweep, calibration = exported_sweep(package)
        _refuse_twice(db, sweep, folder)
        with (
            contextlib.closing(exported_items(package)) as received,
            contextlib.closing(exported_results(package)) as kept,
        ):
            items = (item for item in received if patience.left())
            return _insert(db, sweep, calibration, items, kept)


@contextlib.contextmanager
def as_damage(folder: Path) -> Iterator[None]:
    """Turns invalid content of an exported sweep into one sentence."""
    try:
        yield
    except (ArithmeticError, LookupError, TypeError, ValueError) as error:
        raise StoreDamaged(f"{folder} is not an exported sweep: {type(error).__name__}: {error}") from error


def exported_sweep(package: Package) -> tuple[dict[str, Any], Any]:
    """The one row that says what an exported sweep was, and the calibration it was ridden with.

    ValueError, KeyError or TypeError for an impossible one.
    """
    (sweep,) = _rows(package, "sweep")
    calibrations = {row["calibration"]: row["content"] for row in _rows(package, "calibrations")}
    content = from_json(calibrations[sweep["calibration"]])
    from_dict(content)
    parse_rig(sweep["rig"])
    datetime.datetime.fromisoformat(sweep["session_started_utc"])
    for name in ("rider", "software", "state"):
        checked_line(sweep[name] or "")
    for name in ("plan", "rider_entries"):
        if not isinstance(from_json(sweep[name]), dict):
            raise ValueError(f"{name}: expected a JSON object")
    return sweep, content


def exported_results(package: Package) -> Generator[dict[str, Any], None, None]:
    """The results stored with an exported sweep, oldest first; content as JSON text."""
    for row in _rows(package, "results"):
        if not isinstance(from_json(row["content"]), dict):
            raise ValueError("results: expected JSON objects")
        checked_line(row["kind"] + row["method"] + row["made_utc"])
        yield row


def exported_items(package: Package) -> Generator[Item, None, None]:
    """What the sweep received, in receipt order, as from a store."""
    raw = sorted(name for name in package.paths if name.startswith("raw_"))
    parts = [_hellos(package), _notifications(package), _events(package), *(_scans(package, name) for name in raw)]
    with contextlib.ExitStack() as ends:  # one that is refused lets go of the files of all
        yield from map(checked, merged([ends.enter_context(contextlib.closing(part)) for part in parts]))


def _refuse_twice(db: Connection, sweep: dict[str, Any], folder: Path) -> None:
    found = db.execute(
        "SELECT sweeps.id FROM sweeps JOIN sessions ON sessions.id = session_id "
        "WHERE started_utc = ? AND monotonic_origin_ns = ? AND from_us = ?",
        (sweep["session_started_utc"], int(sweep["monotonic_origin_ns"]), int(sweep["from_us"])),
    ).fetchone()
    if found:
        raise AlreadyThere(f"{folder} is in this store already, as sweep {found[0]}")


def _insert(
    db: Connection, sweep: dict[str, Any], calibration: Any, items: Iterator[Item], results: Iterator[dict[str, Any]]
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
        writing.insert(db, session_id, item, encode(item, level=IMPORT_LEVEL) if isinstance(item, Samples) else b"")
    rider = {**from_json(sweep["rider_entries"]), "exported_as": sweep["rider"] or None}
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


def _hellos(package: Package) -> Generator[Item, None, None]:
    for row in _rows(package, "hellos"):
        yield Hello(int(row["received_us"]), checked_line(row["source"]), from_json(row["content"]))


def _notifications(package: Package) -> Generator[Item, None, None]:
    for row in _rows(package, "notifications"):
        source, characteristic = checked_line(row["source"]), checked_line(row["characteristic"])
        yield Notification(int(row["received_us"]), source, characteristic, bytes.fromhex(row["payload"]))


def _events(package: Package) -> Generator[Item, None, None]:
    for row in _rows(package, "events"):
        yield Event(int(row["received_us"]), checked_line(row["kind"]), from_json(row["content"]))


def _scans(package: Package, name: str) -> Generator[Samples, None, None]:
    source = checked_line(unquote(name.removeprefix("raw_")))
    path = package.table(name)
    counts = [column for column in column_names(path) if column.startswith("count_")]
    if len(counts) > MAX_CHANNELS or counts != [f"count_{i}" for i in range(len(counts))]:
        raise ValueError(f"{name}: expected columns count_0 to at most count_{MAX_CHANNELS - 1}, got {len(counts)}")
    with contextlib.closing(batches(path, ("received_us", "ticks_us", "sequence", "status", *counts))) as found:
        for columns in found:
            yield Samples(
                source=source,
                received_us=_integers(columns["received_us"], np.int64),
                ticks_us=_integers(columns["ticks_us"], np.uint32),
                sequence=_integers(columns["sequence"], np.uint16),
                status=_integers(columns["status"], np.uint8),
                counts=np.stack([_integers(columns[column], np.int32) for column in counts], axis=1),
            )


def _integers(column: list[Any], kind: type[np.integer[Any]]) -> npt.NDArray[Any]:
    """The column as integers of this type. ValueError or TypeError for one that does not fit: numpy would wrap."""
    values = np.array([int(value) for value in column], dtype=np.int64)
    low, high = np.iinfo(kind).min, np.iinfo(kind).max
    if len(values) and not low <= values.min() <= values.max() <= high:
        raise ValueError(f"expected whole numbers from {low} to {high}")
    return values.astype(kind)


def _rows(package: Package, name: str) -> Iterator[dict[str, Any]]:
    with contextlib.closing(batches(package.table(name))) as found:
        for batch in found:
            for values in zip(*batch.values(), strict=True):
                yield dict(zip(batch, values, strict=True))
