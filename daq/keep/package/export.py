"""Sweeps to a folder of data packages that any tool reads: tables with units, checksums, licence, no names.

    folder/datapackage.json           all sweeps in the folder
    folder/README.md                  what the tables are
    folder/<sweep>/datapackage.json   one sweep
    folder/<sweep>/*.parquet          its tables; *.csv.gz without pyarrow

The same sweep gives the same bytes. A sweep's folder appears whole or not at all.
"""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.items import Event, Item
from daq.keep.again.derived import Derived
from daq.keep.bounded import MOST_JSON_BYTES, from_json, read_bytes
from daq.keep.clients import people
from daq.keep.errors import StoreDamaged, StoreError, StoreReadOnly
from daq.keep.json_text import digest, json_text
from daq.keep.package.computed_tables import derived_tables
from daq.keep.package.datapackage import NAME, resource, write_descriptor
from daq.keep.package.permission import Purpose, refuse_names, refuse_unless_agreed
from daq.keep.package.received_tables import calibration_table, raw_tables, result_table, sweep_table
from daq.keep.package.tables import Form, Table, preferred_form, write_table
from daq.keep.private import make_folder, write_text
from daq.keep.store import Store
from daq.keep.store.file import note_beside
from daq.keep.store.sessions import SessionRecord, SweepRecord, add_copy

FREE_TEXT = frozenset({"text", "note", "notes", "comment"})
"""Keys of events that hold whatever somebody typed."""


@dataclass(frozen=True, slots=True)
class Licence:
    """Under which terms the data may be used. name: an Open Definition identifier."""

    name: str
    title: str


CLOSED = Licence("other-closed", "Not released: for the agreed purpose only")
FREE = Licence("CC0-1.0", "Creative Commons Zero 1.0")
"""Fit for simulated sweeps, which are nobody's."""


def export(
    store: Store,
    sweep_ids: Sequence[int],
    folder: Path,
    derive: Callable[[Store, int], Derived],
    *,
    purpose: Purpose = "research",
    licence: Licence = CLOSED,
    form: Form | None = None,
    progress: Callable[[int, int], None] | None = None,
    told: Callable[[str], None] | None = None,
) -> list[Path]:
    """Writes the sweeps into the folder, beside others that are already there; the folders made.

    derive computes what is not stored. A sweep that is in the folder already stays as it is, so that an export that
    was stopped is taken up by making it again. Raises ExportRefused, before anything is written, when a client has not
    agreed. A sweep that cannot be exported, or whose name stands in what would be written, raises too; with `told` it
    is said there and the others go on. What is lost of a sweep's raw is said there as well.
    """
    tell = told or (lambda _: None)
    named = {sweep_id: sweep_name(store, store.sweep(sweep_id)) for sweep_id in sweep_ids}
    for sweep_id in named:
        refuse_unless_agreed(store, store.sweep(sweep_id), purpose)
    note_copy(store, folder, list(named), tell)  # before, not after: cut off in between, it would be out of reach
    make_folder(folder)
    made = []
    try:
        for done, (sweep_id, name) in enumerate(named.items(), start=1):
            if (folder / name).exists():
                tell(f"{folder / name} is there already and stays as it is")
            else:
                try:
                    with store.snapshot():
                        one = _export_one(
                            store, sweep_id, folder / name, derive, purpose, licence, form or preferred_form(), tell
                        )
                    made.append(one)
                except (StoreError, ValueError) as error:
                    if told is None:
                        raise
                    told(f"left out: sweep {sweep_id}: {error}")
            if progress is not None:
                progress(done, len(named))
    finally:
        describe_folder(folder)
    return made


def note_copy(
    store: Store, folder: Path, sweep_ids: Sequence[int], tell: Callable[[str], None], client_id: int | None = None
) -> None:
    """Notes in the store that these sweeps are copied to a folder, so that forgetting can name it.

    Beside a running daemon too. A store nobody can write notes nothing, which is told.
    """
    try:
        note_beside(store.path, lambda db: add_copy(db, "export", folder, sweep_ids, client_id=client_id))
    except StoreReadOnly:
        tell(f"{store.path} cannot be written, so this export is not noted in it: forgetting a client will not name it")


def sweep_name(store: Store, sweep: SweepRecord) -> str:
    """The sweep's name in exports: the session's start, the pseudonym, and its place; no two alike."""
    session = store.session(sweep.session_id)
    start = "".join(letter for letter in session.started_utc[:19] if letter.isdigit())
    who = people.client(store, sweep.client_id).pseudonym if sweep.client_id is not None else _nobody(session)
    return f"{start}-{who.lower()}-{sweep.id:06d}"


def _nobody(session: SessionRecord) -> str:
    return "simulated" if session.simulated else "unnamed"


def describe_folder(folder: Path) -> None:
    """Writes the folder's own data package over all sweeps in it, and its README."""
    resources = []
    for path in sorted(folder.glob(f"*/{NAME}")):
        package = from_json(read_bytes(path, MOST_JSON_BYTES))
        for one in package["resources"]:
            name = path.parent.name
            resources.append({**one, "name": f"{name}-{one['name']}", "path": f"{name}/{one['path']}"})
    write_descriptor(
        folder,
        {"name": "foreaft-sweeps", "title": "Setback sweeps on an instrumented fit jig", "resources": resources},
    )
    write_text(folder / "README.md", _README)


def _export_one(
    store: Store,
    sweep_id: int,
    folder: Path,
    derive: Callable[[Store, int], Derived],
    purpose: Purpose,
    licence: Licence,
    form: Form,
    tell: Callable[[str], None],
) -> Path:
    sweep = store.sweep(sweep_id)
    session = store.session(sweep.session_id)
    try:
        computed = derive(store, sweep_id)
    except StoreDamaged as error:
        computed = Derived(losses=(str(error),))
    losses = list(computed.losses)
    tables = [
        *_kept_tables(store, sweep, session, folder.name, purpose, losses),
        *derived_tables(folder.name, computed),
    ]
    if purpose == "research":
        refuse_names(store, sweep, tables)
    if losses:
        tell(f"{folder.name}: exported without what is lost of it: {'; '.join(losses)}")
    partial = folder.with_name(f".{folder.name}.partial")
    shutil.rmtree(partial, ignore_errors=True)
    make_folder(partial)
    resources = [resource(table, write_table(table, partial, form)) for table in tables]
    write_descriptor(
        partial,
        {
            "name": folder.name,
            "title": f"Setback sweep {folder.name}" + (" (SIMULATED rider and jig)" if session.simulated else ""),
            "description": "One setback sweep: raw counts, loads, strokes, steps and the onset of hand load.",
            "created": session.started_utc,
            "simulated": session.simulated,
            "licenses": [dataclasses.asdict(licence)],
            "sources": [{"title": _origin(session)}],
            **({"lost": losses} if losses else {}),
            "resources": resources,
        },
    )
    os.replace(partial, folder)
    return folder


def _origin(session: SessionRecord) -> str:
    what = "simulated rider on a simulated jig" if session.simulated else "instrumented bicycle fit jig"
    return f"{what}, recorded by Foreaft {session.software}"


def _kept_tables(
    store: Store, sweep: SweepRecord, session: SessionRecord, name: str, purpose: Purpose, losses: list[str]
) -> Iterator[Table]:
    """What was kept of a sweep; of what is damaged, a phrase is added to losses."""
    window = (sweep.from_us,) if sweep.to_us is None else (sweep.from_us, sweep.to_us)
    items = store.read_items(session.id, *window, gaps=True)
    contents: dict[int, Any] = {}
    for kept in sorted({sweep.calibration_id, session.calibration_id}):
        try:
            contents[kept] = store.calibration(kept)
        except StoreDamaged as error:
            contents[kept] = {}
            losses.append(str(error))
    with store.reading() as db:
        when = dict(db.execute("SELECT id, kept_utc FROM calibrations").fetchall())
    row = {
        "rider": None if sweep.client_id is None else people.client(store, sweep.client_id).pseudonym,
        "simulated": session.simulated,
        "session_started_utc": session.started_utc,
        "monotonic_origin_ns": session.monotonic_origin_ns,
        "software": session.software,
        "from_us": sweep.from_us,
        "to_us": sweep.to_us,
        "state": sweep.state,
        "gradient_pct": sweep.gradient_pct,
        "calibration": digest(json_text(contents[sweep.calibration_id])),
        "plan": json_text(sweep.plan),
        "rider_entries": json_text(_without_free_text(sweep.rider, purpose)),
        "rig": session.rig,
    }
    yield sweep_table(name, row)
    yield from raw_tables(name, (_fit_for(item, purpose) for item in items))
    yield calibration_table(name, [(digest(json_text(one)), when[kept], one) for kept, one in contents.items()])
    yield result_table(name, store.results(sweep.id, damaged=lambda error: losses.append(str(error))))


def _fit_for(item: Item, purpose: Purpose) -> Item:
    if not isinstance(item, Event):
        return item
    return dataclasses.replace(item, content=_without_free_text(item.content, purpose))


def _without_free_text(content: Any, purpose: Purpose) -> Any:
    if purpose == "client":
        return content
    return {key: value for key, value in content.items() if key not in FREE_TEXT}


_README = """# Setback sweeps

One folder per sweep, each a Data Package (datapackage.org); the package in this folder lists them all. Units are in
the schemas (UCUM) and in the column names. Missing is null or an empty cell. In a CSV, text that a spreadsheet might
compute (it begins with = + - @) has an apostrophe before it; `foreaft import` takes it away. Riders go by pseudonym.

| table | holds |
|---|---|
| sweep | who, when, how, with what |
| raw_*, notifications, hellos, events | what was received, with host receipt times: the truth |
| calibrations, results, methods | what was used, what was answered at the time, what computed the rest |
| loads, strokes, steps, onset, validity | computed for this export |
| exclusions, clocks | strokes left out and why; how well the sensors' clocks are aligned |

How well a step's hand load is known: `se_n` over its strokes, independent between steps; `u_hand_calibration_n` by the
calibration's budget, nearly one error on all steps, so it moves the curve and not the onset; `u_hand_load_n` both.
All are standard uncertainties (k = 1). `steps` is a table that `foreaft onset` takes.

Feet are the remainder of the weight: a difference, not a measurement. `foreaft import` brings a sweep back,
every file checked against its hash. `frictionless validate datapackage.json` checks the CSV form to the last cell; it
reads Parquet through pandas, which counts no bytes and makes fractions of integers with gaps.
"""
