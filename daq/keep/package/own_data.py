"""Everything that is kept of one client, for that client: a folder that can be handed over."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from pathlib import Path

from daq.keep.again.derived import Derived
from daq.keep.clients import people, visits
from daq.keep.errors import StoreError
from daq.keep.json_text import plain
from daq.keep.package.export import export
from daq.keep.private import make_folder, write_text
from daq.keep.store import Store
from daq.keep.store.sessions import add_copy, copies_of


def hand_over(store: Store, client_id: int, folder: Path, derive: Callable[[Store, int], Derived]) -> list[Path]:
    """Writes client.json (name, consents as they were given, visits with all that was written down, where copies were
    made) and all the client's sweeps with everything typed about them; the paths written. StoreError when the folder
    exists."""
    if folder.exists():
        raise StoreError(f"{folder} exists: give a new folder, nothing is overwritten")
    client = people.client(store, client_id)
    sweep_ids = [sweep.id for sweep in store.sweeps() if sweep.client_id == client_id]
    make_folder(folder)
    with store.writing() as db:
        said = db.execute("SELECT kind, given, at_utc FROM consents WHERE client_id = ? ORDER BY id", (client_id,))
        consents = [{"kind": kind, "given": bool(given), "at_utc": at_utc} for kind, given, at_utc in said]
        copies = copies_of(db, sweep_ids, client_id)
        add_copy(db, "export", folder, sweep_ids, client_id=client_id)
    content = {
        **dataclasses.asdict(client),
        "name": people.name_of(store, client_id),
        "consents": consents,
        "copies": [dict(zip(("kind", "made_utc", "path"), copy, strict=True)) for copy in copies],
        "sweeps": sweep_ids,
        "visits": [
            {**dataclasses.asdict(one), "notes": [dataclasses.asdict(note) for note in visits.notes(store, one.id)]}
            for one in visits.visits(store, client_id)
        ],
    }
    path = folder / "client.json"
    write_text(path, json.dumps(plain(content), indent=2, ensure_ascii=False) + "\n")
    if not sweep_ids:
        return [path]
    return [path, *export(store, sweep_ids, folder / "sweeps", derive, purpose="client")]
