"""Sweeps to a folder of data packages that any tool reads: tables with units, checksums, licence, no names.

    folder/README.md                  what the tables are, for whoever sees them for the first time
    folder/datapackage.json           all sweeps in the folder; ro-crate-metadata.json says the same in JSON-LD
    folder/sweeps.csv, all_steps.csv  what each sweep gave, and its steps
    folder/<sweep>/datapackage.json   one sweep
    folder/<sweep>/*.parquet          its tables; *.csv.gz without pyarrow

The same sweep gives the same bytes. A sweep's folder appears whole or not at all.
"""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.items import Event, Item
from daq.keep.again.derived import Derived
from daq.keep.again.recompute import recompute
from daq.keep.again.stored import calibration_of, items_of, rig_of
from daq.keep.clients import people
from daq.keep.errors import StoreDamaged
from daq.keep.json_text import digest, json_text
from daq.keep.package import c3d_file
from daq.keep.package.c3d_file import c3d_bytes
from daq.keep.package.channels import channel_table
from daq.keep.package.coarse import coarse_items, coarse_session, coarse_sweep, month
from daq.keep.package.computed_tables import derived_tables
from daq.keep.package.datapackage import file_resource, resource, write_descriptor
from daq.keep.package.folder import describe_folder
from daq.keep.package.keys import FORMAT
from daq.keep.package.one_by_one import one_by_one
from daq.keep.package.one_kind import PACKAGE, keep_for_client, refuse_mixed
from daq.keep.package.permission import Purpose, refuse_names
from daq.keep.package.received_tables import calibration_table, raw_tables, result_table, sweep_table
from daq.keep.package.tables import Form, Table, preferred_form, write_table
from daq.keep.package.terms import CLOSED, Licence
from daq.keep.package.typed_text import without_comments
from daq.keep.private import make_folder, new_file
from daq.keep.store import Store
from daq.keep.store.sessions import SessionRecord, SweepRecord
from daq.sweep.losses import in_short

FREE_TEXT = frozenset({"text", "note", "notes", "comment"})
"""Keys of events that hold free text."""


@dataclass(frozen=True, slots=True)
class _Manner:
    """How sweeps are exported."""

    recompute_stored: Callable[[Store, int], Derived]
    purpose: Purpose
    is_coarse: bool
    terms: Mapping[str, Any]
    """Properties of each package: licence, contributors."""
    form: Form
    with_c3d: bool
    tell: Callable[[str], None]


def export(
    store: Store,
    sweep_ids: Sequence[int],
    folder: Path,
    recompute_stored: Callable[[Store, int], Derived],
    *,
    purpose: Purpose = "research",
    licence: Licence = CLOSED,
    contributors: Sequence[Mapping[str, Any]] = (),
    form: Form | None = None,
    is_coarse: bool = False,
    with_c3d: bool = False,
    progress: Callable[[int, int], None] | None = None,
    told: Callable[[str], None] | None = None,
) -> list[Path]:
    """Writes the sweeps into the folder, beside others that are already there; the folders made.

    recompute_stored computes what is not stored; contributors: see `terms.contributor`; is_coarse: dates to months,
    masses to 5 kg, and everything recomputed with these; with_c3d: a C3D file of each beside its tables. A sweep
    already in the folder is left as it is, so that an interrupted export resumes when run again. Before anything is
    written, ExportRefused is raised if a client has not agreed, FolderTaken if the folder is of another kind. A sweep
    that cannot be exported, or would contain the client's name, raises too; with `told` it is reported there and the
    others go on. Lost raw data is reported there as well.
    """
    refuse_mixed(folder, PACKAGE, is_coarse=is_coarse, for_client=purpose == "client")
    tell = told or (lambda _: None)
    terms = {"licenses": [licence.property()], **({"contributors": list(contributors)} if contributors else {})}
    form = form or preferred_form()
    manner = _Manner(
        recompute_coarse if is_coarse else recompute_stored, purpose, is_coarse, terms, form, with_c3d, tell
    )
    targets = {one: folder / _sweep_name(store, store.sweep(one), is_coarse) for one in sweep_ids}

    def write(sweep_id: int, target: Path) -> Path:
        return _export_one(store, sweep_id, target, manner)

    if purpose == "client":
        keep_for_client(folder)
    for target in targets.values():
        if with_c3d and target.exists() and not (target / c3d_file.NAME).exists():
            missing = f"{target.name}/{c3d_file.NAME}"
            tell(f"left out: {missing}: the sweep is there without it; move it away and export it again")

    def describe() -> None:
        describe_folder(folder, tell)

    return one_by_one(store, folder, targets, write, describe, purpose=purpose, progress=progress, told=told)


def recompute_coarse(store: Store, sweep_id: int) -> Derived:
    """A stored sweep computed from its exported items, with dates and masses coarse."""
    sweep = store.sweep(sweep_id)
    rig, calibration = rig_of(store.session(sweep.session_id)), calibration_of(store, sweep)
    return recompute(coarse_items(items_of(store, sweep)), rig, calibration)


def _sweep_name(store: Store, sweep: SweepRecord, is_coarse: bool) -> str:
    """The sweep's unique name in exports: the session's start, the pseudonym, and its rank."""
    session = store.session(sweep.session_id)
    start = "".join(letter for letter in session.started_utc[: 7 if is_coarse else 19] if letter.isdigit())
    who = people.client(store, sweep.client_id).pseudonym if sweep.client_id is not None else _nobody(session)
    return f"{start}-{who.lower()}-{sweep.id:06d}"


def _nobody(session: SessionRecord) -> str:
    return "simulated" if session.simulated else "unnamed"


def _export_one(
    store: Store,
    sweep_id: int,
    folder: Path,
    manner: _Manner,
) -> Path:
    sweep = store.sweep(sweep_id)
    session = store.session(sweep.session_id)
    if manner.is_coarse:
        sweep, session = coarse_sweep(sweep), coarse_session(session, sweep_id)
    try:
        computed = manner.recompute_stored(store, sweep_id)
    except StoreDamaged as error:
        computed = Derived(losses=(str(error),))
    losses = list(computed.losses)
    tables = [
        *_kept_tables(store, sweep, session, folder.name, manner, losses),
        *derived_tables(folder.name, computed),
    ]
    if manner.purpose == "research":
        refuse_names(store, sweep, tables)
    if losses:
        manner.tell(f"{folder.name}: exported without what is lost of it: {'; '.join(in_short(losses))}")
    partial = folder.with_name(f".{folder.name}.partial")
    shutil.rmtree(partial, ignore_errors=True)
    make_folder(partial)
    resources = [resource(table, write_table(table, partial, manner.form)) for table in tables]
    if manner.with_c3d:
        made = _c3d_file(store, sweep, session, partial, folder.name, computed)
        if not made:
            manner.tell(f"left out: {folder.name}/{c3d_file.NAME}: no loads can be computed of it")
        resources += made
    write_descriptor(
        partial,
        {
            "name": folder.name,
            "title": f"Setback sweep {folder.name}" + (" (SIMULATED rider and jig)" if session.simulated else ""),
            "description": "One setback sweep: raw counts, loads, strokes, steps and the onset of hand load.",
            "created": session.started_utc,
            "version": FORMAT,
            "simulated": session.simulated,
            **({"coarse": True} if manner.is_coarse else {}),
            **manner.terms,
            "sources": [{"title": _origin(session)}],
            **({"jig": list(computed.jig_said)} if computed.jig_said else {}),
            **({"lost": losses} if losses else {}),
            "resources": resources,
        },
    )
    os.replace(partial, folder)
    return folder


def _c3d_file(
    store: Store, sweep: SweepRecord, session: SessionRecord, partial: Path, name: str, computed: Derived
) -> list[dict[str, Any]]:
    """Writes the C3D file, if there are loads; its descriptor."""
    about = {"SWEEP": name, "SIMULATED": "yes" if session.simulated else "no", "SESSION_UTC": session.started_utc}
    content = c3d_bytes(computed, list(items_of(store, sweep)), about)
    if content is None:
        return []
    with new_file(partial / c3d_file.NAME) as file:
        file.write(content)
    return [file_resource("c3d", partial / c3d_file.NAME, content, "loads and events for motion laboratories")]


def _origin(session: SessionRecord) -> str:
    what = "simulated rider on a simulated jig" if session.simulated else "instrumented bicycle fit jig"
    return f"{what}, recorded by Foreaft {session.software}"


def _kept_tables(
    store: Store, sweep: SweepRecord, session: SessionRecord, name: str, manner: _Manner, losses: list[str]
) -> Iterator[Table]:
    """What is stored of a sweep; for damaged parts, a phrase is added to losses."""
    window = (sweep.from_us,) if sweep.to_us is None else (sweep.from_us, sweep.to_us)
    items = (_fit_for(item, manner.purpose) for item in store.read_items(session.id, *window, gaps=True))
    received = list(coarse_items(items) if manner.is_coarse else items)
    contents: dict[int, Any] = {}
    for kept in sorted({sweep.calibration_id, session.calibration_id}):
        try:
            contents[kept] = store.calibration(kept)
        except StoreDamaged as error:
            contents[kept] = {}
            losses.append(str(error))
    with store.reading() as db:
        when = dict(db.execute("SELECT id, kept_utc FROM calibrations").fetchall())
    if manner.is_coarse:
        when = {kept: month(utc) for kept, utc in when.items()}
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
        "rider_entries": json_text(_without_free_text(sweep.rider, manner.purpose)),
        "rig": session.rig if manner.purpose == "client" else without_comments(session.rig),
    }
    yield sweep_table(name, row)
    yield from raw_tables(name, received)
    yield channel_table(name, received, contents[sweep.calibration_id], session.rig)
    yield calibration_table(name, [(digest(json_text(one)), when[kept], one) for kept, one in contents.items()])
    results = [] if manner.is_coarse else store.results(sweep.id, damaged=lambda error: losses.append(str(error)))
    yield result_table(name, results)


def _fit_for(item: Item, purpose: Purpose) -> Item:
    if not isinstance(item, Event):
        return item
    return dataclasses.replace(item, content=_without_free_text(item.content, purpose))


def _without_free_text(content: Any, purpose: Purpose) -> Any:
    if purpose == "client":
        return content
    return {key: value for key, value in content.items() if key not in FREE_TEXT}
