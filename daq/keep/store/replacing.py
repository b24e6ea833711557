"""One store put in the place of another. A store is a file and SQLite's files beside it, so that takes several renames;
after a kill between them, whoever opens the store next does the rest.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from daq.keep.store.log import is_left_alone

BESIDE = ("-journal", "-wal", "-shm")
"""What SQLite keeps beside a file. The log of one store beside another would be replayed into it and destroy it
(sqlite.org/howtocorrupt.html, mispairing database files and hot journals)."""


def is_there(path: Path) -> bool:
    """Whether there is a store at a path, or will be as soon as it is opened, or was: its log is left."""
    path = Path(os.path.realpath(path))
    return path.exists() or _pending(path).exists() or is_left_alone(path)


def in_the_making(target: Path) -> Path:
    """Where the store that is to replace it is made."""
    return target.with_name(target.name + ".restoring")


def put_in_place(target: Path) -> None:
    """Set the store at target aside and put the one in the making, a single file, there. The caller holds the lock."""
    os.replace(in_the_making(target), _pending(target))
    sync_folder(target.parent)
    finish(target)


def is_unfinished(target: Path) -> bool:
    """Whether a replacement was decided and not finished."""
    return _pending(target).exists()


def finish(target: Path) -> None:
    """Whatever a killed restore has left: what it had not completed goes, what it had decided is done. The caller holds
    the lock. The old store may be damaged, so SQLite is not involved. Its file goes last: a name is free as long as no
    file has it, so its log gets the same one after a kill.
    """
    for ending in ("", *BESIDE, ".lock"):
        partial = in_the_making(target)
        partial.with_name(partial.name + ending).unlink(missing_ok=True)
    if not is_unfinished(target):
        return
    aside = free_aside(target)
    for ending in (*BESIDE, ""):
        with contextlib.suppress(FileNotFoundError):
            os.replace(target.with_name(target.name + ending), aside.with_name(aside.name + ending))
    os.replace(_pending(target), target)
    sync_folder(target.parent)


def free_aside(target: Path) -> Path:
    """The first free name for a store to be set aside."""
    number = 1
    while (aside := target.with_name(f"{target.name}.{number}.before-restore")).exists():
        number += 1
    return aside


def log_without_store(path: Path) -> Path | None:
    """A log that is left over where a new file is to be put; SQLite would replay it into that file."""
    beside = (path.with_name(path.name + ending) for ending in BESIDE)
    return None if path.exists() else next((one for one in beside if one.exists()), None)


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable."""
    if os.name == "nt":  # Windows cannot open a folder, and writes a rename at once
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _pending(target: Path) -> Path:
    """A name that nobody gives a copy of a store: whatever is there takes the store's place."""
    return target.with_name(target.name + ".decided-to-replace-it")
