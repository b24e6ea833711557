"""What can go wrong with the records, each a sentence for the person at the jig.

StoreError
├── StoreBusy        another process writes to this store
├── StoreNewer       written by a newer version of the program
├── NotStored        done, and kept in memory until the store takes it
├── StoreVanished    the file is no longer at its path
├── StoreUnwritable  the disk takes nothing more
│   ├── StoreFull        no room
│   └── StoreReadOnly    no permission to write
└── StoreDamaged     bytes are not what was written
"""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path


class StoreError(Exception):
    """The store cannot do what was requested; the text says why and what to do."""


class StoreBusy(StoreError):
    """Another process writes to this store."""


class StoreNewer(StoreError):
    """The store was written by a newer version of the program."""


class StoreUnwritable(StoreError):
    """The disk takes nothing more; what was acknowledged before is safe, the last put is not stored."""


class StoreFull(StoreUnwritable):
    """No room on the disk."""


class StoreReadOnly(StoreUnwritable):
    """The store may be read but not written."""


class NotStored(StoreError):
    """It has been done and is kept in memory, but the store has not taken it yet."""


class StoreVanished(StoreError):
    """The open file is no longer at its path: deleted, renamed, or its disk taken away."""


class StoreDamaged(StoreError):
    """Bytes are not what was written; the text names the chunk or the file, row_id the row if it is one."""

    def __init__(self, said: str, *, row_id: int | None = None) -> None:
        super().__init__(said)
        self.row_id = row_id


_PRIMARY = 0xFF
"""SQLite's extended result codes carry the primary code in their low byte (sqlite.org/rescode.html)."""


def store_error(error: sqlite3.Error, path: Path) -> StoreError:
    """The StoreError for SQLite's error."""
    code = getattr(error, "sqlite_errorcode", None)
    said = " ".join(str(error).split())  # SQLite quotes a damaged schema, including its line breaks
    primary = None if code is None else code & _PRIMARY
    if primary == sqlite3.SQLITE_FULL:
        return StoreFull(f"no room left on the disk of {path}: free some, nothing stored before is lost")
    if primary == sqlite3.SQLITE_READONLY:
        return StoreReadOnly(f"{path} cannot be written: check the permissions of file and folder, and the mount")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreBusy(f"{path} is locked by another program: close it and try again")
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return StoreDamaged(
            f"{path} is damaged ({said}): keep the file, restore a backup or foreaft salvage what is readable"
        )
    if primary == sqlite3.SQLITE_IOERR:
        if code in (sqlite3.SQLITE_IOERR_SHORT_READ, sqlite3.SQLITE_IOERR_READ):
            return StoreDamaged(f"{path} cannot be read to its end ({said}): the disk or the file is damaged")
        return StoreUnwritable(
            f"the disk of {path} refuses to write ({said}): check room and quota, nothing stored before is lost"
        )
    if primary == sqlite3.SQLITE_CANTOPEN:
        return StoreError(f"{path} cannot be opened: check that the folder exists and may be read and written")
    return StoreError(f"{path}: {said}")


def disk_error(error: OSError, path: Path, done: str = "written") -> StoreUnwritable | None:
    """The StoreUnwritable for the system's error, when it is for want of room or of a right; done: what cannot be."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return StoreFull(f"no room left on the disk of {path}: free some")
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return StoreReadOnly(
            f"{path} cannot be {done} ({error.strerror}): check the permissions of file and folder, and the mount"
        )
    return None


class NotThere(StoreError):
    """The store is fine, but has nothing with that number or pseudonym."""
