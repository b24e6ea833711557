"""A store whose file is no longer at its path: deleted, renamed, its folder or its disk gone.

An open file lives on until it is closed, so its content can still be read, and is carried over into a new file.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from daq.keep.errors import StoreError, store_error
from daq.keep.private import PRIVATELY
from daq.keep.store.sessions import add_copy
from daq.keep.store.store import Store

_PAGES = 2_000


def carry_over(store: Store, refuge: Path) -> Store:
    """A new store where the old one was, or in the folder `refuge` if that is gone, with everything the old one holds.
    Raises StoreError if neither folder takes it, or the old one can no longer be read. The old one is closed with its
    log written into it, so that a file that was only renamed is complete too; whatever is at the path now is left
    alone.
    """
    refusals = []
    for folder in (store.path.parent, refuge):
        target = _free_name(folder, store.path)
        try:
            if folder == refuge:
                folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            os.close(os.open(target, os.O_RDWR | os.O_CREAT | os.O_EXCL | PRIVATELY, 0o600))
            _copy(store, target)
            new = Store.open(target)
        except (OSError, StoreError) as error:
            refusals.append(f"{folder}: {getattr(error, 'strerror', None) or error}")
            continue
        with new.writing() as db:  # a client to be forgotten has to be looked for there too
            add_copy(db, "backup", store.path, [row[0] for row in db.execute("SELECT id FROM sweeps")])
        with contextlib.suppress(StoreError), store.reading() as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        store.close()
        return new
    raise StoreError(f"{store.path} is gone, and no new store can be made: {'; '.join(refusals)}")


def _copy(store: Store, target: Path) -> None:
    copy = sqlite3.connect(target)
    try:
        with store.reading() as db:
            db.backup(copy, pages=_PAGES)
    except sqlite3.Error as error:
        raise store_error(error, target) from error
    finally:
        copy.close()


def _free_name(folder: Path, path: Path) -> Path:
    number = 1
    while (target := folder / f"{path.stem}.{number}.carried-over{path.suffix}").exists():
        number += 1
    return target
