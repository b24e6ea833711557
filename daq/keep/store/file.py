"""One SQLite file opened as a store: who may write, how durably, and what its errors mean.

Write-ahead log with synchronous=FULL: after a writing block, what it wrote survives a kill -9 and, if the disk honours
fsync, a power cut.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import struct
from collections.abc import Callable, Iterator
from pathlib import Path

from daq.keep.bounded import Refused, open_plain
from daq.keep.errors import StoreBusy, StoreDamaged, StoreError, StoreReadOnly, StoreVanished, disk_error, store_error
from daq.keep.private import PRIVATELY
from daq.keep.store.lock import note_holder, take_lock
from daq.keep.store.log import check_log, is_left_alone, log_of
from daq.keep.store.migrations import check_version, migrate
from daq.keep.store.replacing import finish, is_unfinished
from daq.keep.store.rows import complete
from daq.keep.store.schema import check_schema, connected, schema_of
from daq.keep.store.sessions import add_copy

BUSY_S = 5.0
"""How long to wait for another program (a backup, a shell) that briefly holds the file."""
BEGUN = ".begun"
"""How the name of the file ends that lies beside a store as long as it has no tables. A new store is then told from one
whose log was lost: of a first session, everything is in the log."""


class StoreFile:
    """The open file. Use `writing` and `reading`; lock None means opened for reading."""

    def __init__(self, path: Path, db: sqlite3.Connection, lock: int | None) -> None:
        self.path = path
        self.migrated_copy: Path | None = None
        """Where the store was copied to before it was brought to a newer schema, if it was."""
        self._db = db
        self._lock = lock
        self._identity = _identity(path)

    @property
    def writable(self) -> bool:
        """Whether it was opened for writing and is open."""
        return self._lock is not None

    def close(self) -> None:
        """Releases file and lock. May be called twice."""
        self._db.close()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def check_there(self) -> None:
        """Raises StoreVanished if another file, or none, is at the path; StoreUnwritable if the disk takes nothing.
        SQLite notices neither: it goes on writing into a file that nobody will find again.
        """
        if _identity(self.path) != self._identity:
            raise StoreVanished(f"{self.path} is gone: deleted, renamed, or its disk was taken away")
        if self._lock is not None:
            with _os_errors(self.path):
                note_holder(self._lock)
                os.fsync(self._lock)

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: durable after the block, rolled back if it raises."""
        if self._lock is None:
            raise StoreReadOnly(f"{self.path} was opened for reading only")
        with self.reading() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The connection, with SQLite's errors turned into ours."""
        with _as_ours(self.path):
            yield self._db


def open_for_writing(path: Path) -> StoreFile:
    """Opens the store, makes it when it is new, brings it to the newest schema when it is old.

    Raises StoreBusy when another process writes to it, StoreNewer, StoreReadOnly, StoreFull, StoreDamaged.
    """
    path = _itself(path)
    with _os_errors(path):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = take_lock(path)
    try:
        with _os_errors(path):
            finish(path)
            _check_log_has_store(path)
            begun = path.with_name(path.name + BEGUN)
            for one in [path] if _has_bytes(path) else [begun, path]:
                os.close(os.open(one, os.O_RDWR | os.O_CREAT | PRIVATELY, 0o600))  # health data: for the owner alone
        _check_length(path)
        check_log(path)
        _check_one_name(path)
        file = StoreFile(path, _connect(str(path)), lock)
    except BaseException:
        os.close(lock)
        raise
    try:
        with file.reading() as db:
            _check_tables(db, path, is_begun=begun.exists())
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("PRAGMA synchronous = FULL")
            db.execute("PRAGMA secure_delete = ON")  # deleted records leave no bytes in free pages
            file.migrated_copy = migrate(db, path, then=lambda kept: _bring_forward(db, kept))
            db.execute("PRAGMA foreign_keys = ON")
        with _os_errors(path):
            begun.unlink(missing_ok=True)
    except BaseException:
        file.close()
        raise
    return file


def _bring_forward(db: sqlite3.Connection, kept: Path) -> None:
    complete(db)
    add_copy(db, "backup", kept, [row[0] for row in db.execute("SELECT id FROM sweeps")])


def open_for_reading(path: Path) -> StoreFile:
    """Opens an existing store while another process may write to it. Raises as open_for_writing, and StoreError if
    there is none."""
    path = _itself(path)
    with _os_errors(path, "read"):
        if is_unfinished(path):
            _finish_alone(path)
        _check_log_has_store(path)
        if not path.is_file():
            raise StoreError(f"no store at {path}")
        _check_length(path)
    _check_log_alone(path)
    file = StoreFile(path, _connect(_read_uri(path)), None)
    try:
        with file.reading() as db:
            _check_tables(db, path)
    except BaseException:
        file.close()
        raise
    return file


def _itself(path: Path) -> Path:
    """The file behind a link: its lock and its log are beside the file, whatever it is called."""
    return Path(os.path.realpath(path))


def _finish_alone(path: Path) -> None:
    lock = take_lock(path)
    try:
        finish(path)
    finally:
        os.close(lock)


def _check_log_alone(path: Path) -> None:
    """Check a log that nobody is using: what a crash has left."""
    log = log_of(path)
    if not (log.exists() and log.stat().st_size):
        return
    with contextlib.suppress(StoreBusy, OSError):
        lock = take_lock(path)
        try:
            check_log(path)
        finally:
            os.close(lock)


def _identity(path: Path) -> tuple[int, int] | None:
    """Device and inode of the file at a path; None if there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def note_beside(path: Path, note: Callable[[sqlite3.Connection], None]) -> None:
    """One short transaction while another process may write to the store: for notes about the store, never for records.

    SQLite lets one writer wait for the other. Raises StoreReadOnly, StoreFull, StoreBusy.
    """
    with _os_errors(path):
        if not os.access(path, os.W_OK) or not os.access(path.parent, os.W_OK):
            raise StoreReadOnly(f"{path} cannot be written: check the permissions of file and folder, and the mount")
        _check_one_name(path)
    db = _connect(str(path))
    try:
        with _as_ours(path):
            db.execute("PRAGMA synchronous = FULL")
            db.execute("BEGIN IMMEDIATE")
            note(db)
            db.execute("COMMIT")
    finally:
        db.close()


def _connect(target: str) -> sqlite3.Connection:
    db = connected(target, BUSY_S)
    db.text_factory = lambda text: text.decode("utf-8", "surrogateescape")  # damaged text is left for the CRC to find
    return db


def _read_uri(path: Path) -> str:
    """SQLite's URI to read this file. On read-only media, a file without a log is opened as immutable: SQLite could not
    create its index of the log there (sqlite.org/wal.html, read-only databases)."""
    wal = log_of(path)
    frozen = not os.access(path.parent, os.W_OK) and not (wal.exists() and wal.stat().st_size)
    return path.resolve().as_uri() + ("?immutable=1" if frozen else "?mode=ro")


def _check_log_has_store(path: Path) -> None:
    """Raises StoreDamaged if the log is all there is."""
    if is_left_alone(path):
        raise StoreDamaged(
            f"{path} is {'empty' if path.exists() else 'gone'}, and its log {log_of(path)} is left: keep it as it is; "
            f"foreaft salvage {path} NEW.sqlite brings what is in it into a new store"
        )


def _has_bytes(path: Path) -> bool:
    return path.exists() and path.stat().st_size > 0


def _check_tables(db: sqlite3.Connection, path: Path, *, is_begun: bool = False) -> None:
    """Raises StoreDamaged for a store without tables, unless it `is_begun`: its tables are to be made now; and what
    check_version and check_schema raise."""
    version = check_version(db, path)
    if not (version or is_begun or schema_of(db)):
        raise StoreDamaged(
            f"{path} holds no tables: if it was in use, all of it was in its log {log_of(path).name}, which is not "
            "there or holds nothing; put that log back beside it, or restore a backup. If it never was, delete it"
        )
    check_schema(db, path, version)


def _check_length(path: Path) -> None:
    """Raises StoreDamaged if the file is shorter than its own header says and no log can make up for it.

    Header fields: page size at byte 16, change counter at 24, page count at 28, the counter it was written with at
    92 (sqlite.org/fileformat2.html, the database header).
    """
    wal = log_of(path)
    try:
        for beside in (wal, path.with_name(path.name + "-shm")):  # SQLite would wait for ever on a pipe
            if beside.exists():
                open_plain(beside).close()
        with open_plain(path) as file:
            header = file.read(100)
    except Refused as error:
        raise StoreError(str(error)) from error
    if wal.exists() and wal.stat().st_size:
        return
    if not header:
        return
    if len(header) < 100 or not header.startswith(b"SQLite format 3\0"):
        raise StoreDamaged(
            f"{path} is not an SQLite file, or its start is damaged: keep it, restore a backup, or foreaft salvage it"
        )
    page_size, counter, pages, valid_for = (
        struct.unpack_from(">H", header, 16)[0],
        *struct.unpack_from(">II", header, 24),
        struct.unpack_from(">I", header, 92)[0],
    )
    expected = pages * (65536 if page_size == 1 else page_size)
    found = path.stat().st_size
    if counter == valid_for and found < expected:
        raise StoreDamaged(
            f"{path} is cut off: {found} bytes, expected {expected}: keep it, restore a backup, or foreaft salvage it"
        )


def _check_one_name(path: Path) -> None:
    """Raises StoreReadOnly if there are two: each would have a log and a lock of its own, and whoever wrote last would
    destroy what the other wrote (sqlite.org/howtocorrupt.html, multiple links to the same file)."""
    if path.stat().st_nlink > 1:
        raise StoreReadOnly(
            f"{path} has another name (a hard link), and written under both it would be destroyed: delete the other, "
            "or foreaft backup it and foreaft restore the copy"
        )


@contextlib.contextmanager
def _as_ours(path: Path) -> Iterator[None]:
    """SQLite's errors as ours."""
    try:
        yield
    except sqlite3.Error as error:
        raise store_error(error, path) from error
    except UnicodeDecodeError as error:  # Python could not even decode SQLite's message about a damaged schema
        raise StoreDamaged(f"{path} is damaged: keep the file, restore a backup or foreaft salvage it") from error
    except UnicodeEncodeError as error:
        raise StoreError(f"{path} cannot hold a text with half a surrogate pair: {error.object[:80]!a}") from error


@contextlib.contextmanager
def _os_errors(path: Path, done: str = "written") -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise disk_error(error, path, done) or StoreError(f"{path} cannot be opened: {error.strerror}") from error
