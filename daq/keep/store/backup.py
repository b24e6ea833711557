"""A verified copy of the whole store, made while it is in use, and restoring from it."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

from daq.keep.errors import StoreError, StoreReadOnly, StoreUnwritable, store_error
from daq.keep.private import PRIVATELY
from daq.keep.store.contents import unreadable
from daq.keep.store.file import note_beside
from daq.keep.store.lock import take_lock
from daq.keep.store.log import check_log
from daq.keep.store.replacing import (
    finish,
    free_aside,
    in_the_making,
    is_there,
    log_without_store,
    put_in_place,
    sync_folder,
)
from daq.keep.store.rows import columns_of, unsound_rows
from daq.keep.store.sessions import add_copy, sweeps
from daq.keep.store.store import Store
from daq.keep.store.verify import Verified, verify
from daq.words import counted

_PAGES = 2_000
"""Pages copied at a time; a daemon that writes meanwhile waits no longer than this takes."""


def back_up(store: Store, target: Path, progress: Callable[[int, int], None] | None = None) -> Verified:
    """Copies an open store to a new file, reads the whole copy back, and reports what it holds.

    progress(done, all) counts pages. The store records the copy beforehand, so that a client to be forgotten can be
    found there too; a store that cannot be written is copied anyway. Raises StoreError if target exists or cannot be
    created, or if the copy does not verify; such a copy is left for inspection under its partial name.
    """
    partial = target.with_name(target.name + ".partial")
    if target.exists():
        raise StoreError(f"{target} exists: give a new file name, nothing is overwritten")
    if left_over := log_without_store(target):
        raise StoreError(f"{left_over} is left over from another store: give another file name, or move it away")
    partial.unlink(missing_ok=True)
    _begin(partial)
    with contextlib.suppress(StoreReadOnly):
        note_beside(store.path, lambda db: add_copy(db, "backup", target, [sweep.id for sweep in sweeps(db)]))
    _copy(store, partial, progress)
    with Store.open(partial, write=False) as copy:
        found = verify(copy)
    if found.problems:
        raise StoreError(
            f"the copy {partial} is not sound: {found.problems[0]} ({counted(len(found.problems), 'problem')})"
        )
    os.replace(partial, target)
    sync_folder(target.parent)
    return found


def restore(
    backup: Path,
    target: Path,
    progress: Callable[[int, int], None] | None = None,
    told: Callable[[str], None] = lambda _: None,
) -> Verified:
    """Makes a store from a backup, brought to the newest schema, and verifies it.

    A store already at target is kept beside it under the first free name ending in .before-restore; its list of copies
    is carried over, and where that cannot be read, `told` is called with a sentence. After a kill there is one of the
    two at target, whole. Raises StoreBusy when another process writes to it, StoreError when the backup does not
    verify.
    """
    target = Path(os.path.realpath(target))
    partial = in_the_making(target)
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    lock = take_lock(target)
    try:
        finish(target)
        aside = free_aside(target)
        if left_over := log_without_store(aside):
            raise StoreError(f"{left_over} is left over from a store that was deleted: delete it too, or move it away")
        _begin(partial)
        with Store.open(backup, write=False) as source:
            _copy(source, partial, progress)
        with Store.open(partial) as copy:
            found = verify(copy)
            if found.problems:
                raise StoreError(f"{backup} is not sound: {found.problems[0]}; {target} is as it was")
            with copy.reading() as db:
                if strange := next(unreadable(db), None):
                    raise StoreError(f"{backup} holds what no store of ours does: {strange}; {target} is as it was")
            lists_all = _note_copies(copy, backup, target, aside)
        put_in_place(target)
    finally:
        for leftover in (partial, partial.with_name(partial.name + ".lock")):
            leftover.unlink(missing_ok=True)
        os.close(lock)
    if not lists_all:
        told(
            "which exports and backups were made from the store that was here cannot be read in it, so neither "
            "forgetting a client nor withdrawing a consent will name them: look for them yourself, or in what foreaft "
            f"salvage makes of {aside}"
        )
    return found


def _begin(target: Path) -> None:
    """A new, empty file, readable by its owner alone. Raises StoreError if none can be created there, or somebody else
    was quicker: a link would lead to another file.
    """
    try:
        os.close(os.open(target, os.O_RDWR | os.O_CREAT | os.O_EXCL | PRIVATELY, 0o600))
    except OSError as error:
        raise StoreError(f"no file can be made in {target.parent}: {error.strerror}; choose another folder") from error


def _copy(store: Store, target: Path, progress: Callable[[int, int], None] | None) -> None:
    copy = sqlite3.connect(target)
    try:
        with store.reading() as db:
            _copy_pages(db, copy, target, progress)
        copy.execute("PRAGMA journal_mode = DELETE")  # a single file that can be moved
    except sqlite3.Error as error:
        raise store_error(error, target) from error
    finally:
        copy.close()


def _copy_pages(
    db: sqlite3.Connection, copy: sqlite3.Connection, target: Path, progress: Callable[[int, int], None] | None
) -> None:
    """All pages. Where there is no room for them, it is told of the copy's disk, and nothing fills it."""
    try:
        db.backup(
            copy,
            pages=_PAGES,
            progress=lambda _, left, total: progress(total - left, total) if progress is not None else None,
        )
    except sqlite3.Error as error:
        said = store_error(error, target)
        if isinstance(said, StoreUnwritable):
            target.unlink(missing_ok=True)
            raise said from error
        raise


_Copies = dict[tuple[str, str, str, str | None], list[tuple[int, int]]]
"""(number, checksum) of the sweeps in each copy, by kind, time, path and whose it is."""


def _note_copies(restored: Store, backup: Path, target: Path, aside: Path) -> bool:
    """What else holds these clients: the backup, the store set aside, and copies that only that store knew of. Whether
    all of those could be read."""
    known: _Copies = {}
    lists_all = not is_there(target) or _reads_copies(target, known)
    with restored.writing() as db:
        there = set(db.execute("SELECT kind, made_utc, path FROM copies").fetchall())
        same = set(db.execute("SELECT id, crc FROM sweeps").fetchall())  # a number alone may mean another sweep
        clients = dict(db.execute("SELECT pseudonym, id FROM clients").fetchall())
        for (kind, made_utc, path, whose), copied in known.items():
            if (kind, made_utc, path) not in there:
                sweep_ids, client_id = [one[0] for one in copied if one in same], clients.get(whose)
                add_copy(db, kind, Path(path), sweep_ids, client_id=client_id, made_utc=made_utc)
        everything = [one[0] for one in same]
        add_copy(db, "backup", backup, everything)
        if target.exists():
            add_copy(db, "backup", aside, everything)
    return lists_all


def _reads_copies(path: Path, known: _Copies) -> bool:
    """Puts the list of copies of a store among those known; whether it is whole. The caller holds the lock."""
    try:
        check_log(path)  # not done in opening: it is ours to lock
        with Store.open(path, write=False) as store, store.reading() as db:
            owner = "copies.client_id" if "client_id" in columns_of(db, "copies") else "NULL"
            for *copy, sweep_id, crc in db.execute(
                "SELECT kind, made_utc, path, pseudonym, sweeps.id, sweeps.crc FROM copies "
                f"LEFT JOIN clients ON clients.id = {owner} "
                "LEFT JOIN copied_sweeps ON copy_id = copies.id LEFT JOIN sweeps ON sweeps.id = sweep_id"
            ):
                known.setdefault((copy[0], copy[1], copy[2], copy[3]), []).append((sweep_id, crc))
            return not any(unsound_rows(db, table) for table in ("copies", "copied_sweeps"))
    except StoreError:
        return False
