"""Everything stored about one client, for that client: a folder to hand over."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from daq.keep.again.derived import Derived
from daq.keep.clients import people, visits
from daq.keep.errors import StoreError
from daq.keep.json_text import plain
from daq.keep.package.export import export
from daq.keep.package.one_by_one import note_copy
from daq.keep.private import make_folder, write_text
from daq.keep.store import Store
from daq.keep.store.sessions import copies_of


def hand_over(
    store: Store,
    client_id: int,
    folder: Path,
    recompute_stored: Callable[[Store, int], Derived],
    tell: Callable[[str], None] = lambda _: None,
) -> list[Path]:
    """Writes client.json (name, consents as they were given, visits with all that was written down, where copies were
    made) and all the client's sweeps with everything typed about them; the paths written. What is damaged is told and
    left out. StoreError when the folder exists."""
    if folder.exists():
        raise StoreError(f"{folder} exists: give a new folder, nothing is overwritten")
    sweep_ids = sweeps_of(store, client_id, tell)
    make_folder(folder)
    content = kept_about(store, client_id, sweep_ids)
    note_copy(store, folder, sweep_ids, tell, client_id)
    path = folder / "client.json"
    write_text(path, json.dumps(plain(content), indent=2, ensure_ascii=False) + "\n")
    if not sweep_ids:
        return [path]
    return [path, *export(store, sweep_ids, folder / "sweeps", recompute_stored, purpose="client", told=tell)]


def sweeps_of(store: Store, client_id: int, tell: Callable[[str], None] = lambda _: None) -> list[int]:
    """The client's sweeps; what is damaged is told and left out."""
    found = store.sweeps(damaged=lambda error: tell(str(error)))
    return [sweep.id for sweep in found if sweep.client_id == client_id]


def kept_about(store: Store, client_id: int, sweep_ids: list[int]) -> dict[str, Any]:
    """Everything written down about a client: name, consents as they were given, the records joined with this one,
    visits with their notes, and where copies were made."""
    with store.reading() as db:
        copies = copies_of(db, sweep_ids, client_id)
    return {
        **dataclasses.asdict(people.client(store, client_id)),
        "name": people.name_of(store, client_id),
        "consents": [dataclasses.asdict(one) for one in people.said(store, client_id)],
        "joined": [_joined(store, one) for one in people.records_of(store, client_id)[1:]],
        "copies": [dict(zip(("kind", "made_utc", "path"), copy, strict=True)) for copy in copies],
        "sweeps": sweep_ids,
        "visits": [
            {**dataclasses.asdict(one), "notes": [dataclasses.asdict(note) for note in visits.notes(store, one.id)]}
            for one in visits.visits(store, client_id)
        ],
    }


def _joined(store: Store, record: people.Client) -> dict[str, Any]:
    """What another record of the same client held besides what went over."""
    return {
        "pseudonym": record.pseudonym,
        "since_utc": record.since_utc,
        "keep_until": record.keep_until,
        "name": people.name_of(store, record.id),
        "consents": [dataclasses.asdict(one) for one in people.said(store, record.id)],
    }
