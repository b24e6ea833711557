"""Brings an exported sweep back into a store, where it can be computed again to the same answer."""

from __future__ import annotations

import contextlib
import reprlib
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
from daq.keep.package.columns import rows
from daq.keep.package.datapackage import Package, read_package
from daq.keep.received import checked
from daq.keep.store import Store, sessions, writing
from daq.keep.store.chunks import IMPORT_LEVEL, encode
from daq.keep.store.reading import merged
from daq.keep.store.rows import insert_row
from daq.measure.calibration import from_dict
from daq.rig_file import parse_rig
from daq.text import checked_line
from daq.values import Samples
from daq.wire.scans import MAX_CHANNELS

SCAN_KINDS: dict[str, type[np.integer[Any]]] = {
    "received_us": np.int64,
    "ticks_us": np.uint32,
    "sequence": np.uint16,
    "status": np.uint8,
}


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
    except ValueError as error:
        raise StoreDamaged(f"{folder} is not an exported sweep: {error}") from error
    except (ArithmeticError, LookupError, TypeError) as error:
        raise StoreDamaged(
            f"{folder} is not an exported sweep: something in it cannot be ({type(error).__name__}: {error})"
        ) from error


def exported_sweep(package: Package) -> tuple[dict[str, Any], Any]:
    """The one row that says what an exported sweep was, and the calibration it was ridden with.

    ValueError for an impossible one.
    """
    found = list(rows(package, "sweep"))
    if len(found) != 1:
        raise ValueError(f"sweep: expected one row, got {len(found)}")
    (sweep,) = found
    calibrations = {row["calibration"]: row["content"] for row in rows(package, "calibrations")}
    if sweep["calibration"] not in calibrations:
        raise ValueError(f"sweep.calibration: expected one of calibrations, got {reprlib.repr(sweep['calibration'])}")
    content = calibrations[sweep["calibration"]]
    from_dict(content)
    parse_rig(sweep["rig"])
    return sweep, content


def exported_results(package: Package) -> Generator[dict[str, Any], None, None]:
    """The results stored with an exported sweep, oldest first; content as JSON text."""
    yield from rows(package, "results")


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
        (sweep["session_started_utc"], sweep["monotonic_origin_ns"], sweep["from_us"]),
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
        monotonic_origin_ns=sweep["monotonic_origin_ns"],
        software=sweep["software"],
        rig=sweep["rig"],
        calibration_id=calibration_id,
        simulated=int(sweep["simulated"]),
    )
    for item in items:
        writing.insert(db, session_id, item, encode(item, level=IMPORT_LEVEL) if isinstance(item, Samples) else b"")
    rider = {**from_json(sweep["rider_entries"]), "exported_as": sweep["rider"]}
    sweep_id = insert_row(
        db,
        "sweeps",
        session_id=session_id,
        calibration_id=calibration_id,
        from_us=sweep["from_us"],
        to_us=sweep["to_us"],
        state=sweep["state"],
        gradient_pct=sweep["gradient_pct"],
        plan=sweep["plan"],
        rider=json_text(rider),
    )
    for one in results:
        kept = {name: one[name] for name in ("kind", "method", "made_utc", "content")}
        insert_row(db, "results", sweep_id=sweep_id, **kept)
    sessions.end_session(db, session_id, sessions.last_us(db, session_id))
    return sweep_id


def _hellos(package: Package) -> Generator[Item, None, None]:
    for row in rows(package, "hellos"):
        yield Hello(row["received_us"], row["source"], row["content"])


def _notifications(package: Package) -> Generator[Item, None, None]:
    for row in rows(package, "notifications"):
        yield Notification(row["received_us"], row["source"], row["characteristic"], row["payload"])


def _events(package: Package) -> Generator[Item, None, None]:
    for row in rows(package, "events"):
        yield Event(row["received_us"], row["kind"], row["content"])


def _scans(package: Package, name: str) -> Generator[Samples, None, None]:
    source = checked_line(unquote(name.removeprefix("raw_")))
    path = package.table(name)
    counts = [column for column in column_names(path) if column.startswith("count_")]
    if len(counts) > MAX_CHANNELS or counts != [f"count_{i}" for i in range(len(counts))]:
        raise ValueError(f"{name}: expected columns count_0 to at most count_{MAX_CHANNELS - 1}, got {len(counts)}")
    kinds: dict[str, type[np.integer[Any]]] = {**SCAN_KINDS, **dict.fromkeys(counts, np.int32)}
    with contextlib.closing(batches(path, tuple(kinds))) as all_scans:
        for found in all_scans:
            numbers = {column: _integers(f"{name}.{column}", found[column], kind) for column, kind in kinds.items()}
            yield Samples(
                source=source,
                received_us=numbers["received_us"],
                ticks_us=numbers["ticks_us"],
                sequence=numbers["sequence"],
                status=numbers["status"],
                counts=np.stack([numbers[column] for column in counts], axis=1),
            )


def _integers(where: str, column: list[Any], kind: type[np.integer[Any]]) -> npt.NDArray[Any]:
    """The column as integers of this type. ValueError for one that does not fit: numpy would wrap."""
    low, high = np.iinfo(kind).min, np.iinfo(kind).max
    try:
        values = np.array([int(value) for value in column], dtype=np.int64)
    except (OverflowError, TypeError, ValueError) as error:
        raise ValueError(f"{where}: expected whole numbers from {low} to {high}, got others") from error
    if len(values) and not low <= values.min() <= values.max() <= high:
        raise ValueError(f"{where}: expected whole numbers from {low} to {high}, got others")
    return values.astype(kind)
