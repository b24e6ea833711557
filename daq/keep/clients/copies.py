"""Where there are copies of a client's records: listed in the store, and in every backup of it that can still be
read."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from daq.keep.clients import people
from daq.keep.clients.people import Client
from daq.keep.errors import StoreError
from daq.keep.store import Store
from daq.keep.store.sessions import SweepRecord, copies_of

UNREAD = "which is gone or cannot be read, nothing is known"
"""Of the exports made from such a backup."""


@dataclass(frozen=True, slots=True)
class Copy:
    """A file or folder that may hold them."""

    kind: str
    """backup or export."""
    made_utc: str
    path: Path
    unread: bool = False
    """A backup that is gone or cannot be read: the exports made from it are not known."""


def copies_known(store: Store, client: Client | None, sweeps: Sequence[SweepRecord]) -> list[Copy]:
    """Every copy that may hold these sweeps or this client, oldest first.

    An export made from a backup is listed in that backup, so backups that are still where they were made are read too.
    """
    found = dict.fromkeys(_noted(store, None if client is None else client.id, [sweep.id for sweep in sweeps]))
    called = [] if client is None else [one.pseudonym for one in people.records_of(store, client.id)]
    asked = {store.path.resolve()}
    unread: set[Path] = set()
    while waiting := [copy.path for copy in found if copy.kind == "backup" and copy.path not in asked]:
        for path in waiting:
            asked.add(path)
            try:
                found |= dict.fromkeys(_noted_in(path, called, sweeps))
            except StoreError:
                unread.add(path)
    told = [replace(copy, unread=copy.path in unread) for copy in found]
    return sorted(told, key=lambda copy: copy.made_utc)


def exports_of(store: Store, client: Client) -> list[Copy]:
    """The exports that hold sweeps of a client, oldest first; without what was handed over to the client. Behind them
    the backups that would have to be read to know of more."""
    sweeps = [sweep for sweep in store.sweeps(damaged=lambda _: None) if sweep.client_id == client.id]
    known = copies_known(store, client, sweeps)
    return [*_not_own(store, client, known), *(copy for copy in known if copy.unread)]


def exports_noted(store: Store, client: Client) -> list[Copy]:
    """The same, from this store's own list alone: quick enough for a list of all clients."""
    with store.reading() as db:
        ids = [row[0] for row in db.execute("SELECT id FROM sweeps WHERE client_id = ?", (client.id,))]
    return _not_own(store, client, _noted(store, client.id, ids))


def _noted_in(path: Path, called: Sequence[str], sweeps: Sequence[SweepRecord]) -> list[Copy]:
    """The list in a backup, where the client may be on record under several pseudonyms, and have sweeps that this store
    lacks: it was restored since. If the stores have diverged, a number may belong to another sweep there."""
    with Store.open(path, write=False) as backup:
        there = {sweep.id: sweep for sweep in backup.sweeps(damaged=lambda _: None)}
        same = [one.id for one in sweeps if one.id in there and there[one.id].from_us == one.from_us]
        found = _noted(backup, None, same)
        for pseudonym in called:
            with contextlib.suppress(StoreError):
                client_id = people.client_called(backup, pseudonym).id
                own = [sweep.id for sweep in there.values() if sweep.client_id == client_id]
                found += _noted(backup, client_id, [*same, *own])
        return list(dict.fromkeys(found))


def _noted(store: Store, client_id: int | None, sweep_ids: Sequence[int]) -> list[Copy]:
    with store.reading() as db:
        return [Copy(kind, made_utc, Path(path)) for kind, made_utc, path in copies_of(db, sweep_ids, client_id)]


def _not_own(store: Store, client: Client, copies: Sequence[Copy]) -> list[Copy]:
    """The exports for others, each folder once, with the day it was first written to."""
    with store.reading() as db:
        own = {Path(row[0]) for row in db.execute("SELECT path FROM copies WHERE client_id = ?", (client.id,))}
    first: dict[Path, Copy] = {}
    for copy in copies:
        if copy.kind == "export" and not own & {copy.path, copy.path.parent}:
            first.setdefault(copy.path, copy)
    return list(first.values())
