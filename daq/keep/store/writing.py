"""Writes what was received into the raw tables, inside the caller's transaction."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable, Iterator

from daq.items import Event, Hello, Item, Notification
from daq.keep.errors import NotThere, StoreDamaged, StoreError
from daq.keep.json_text import json_text
from daq.keep.store.rows import insert_row
from daq.values import Samples

_OF_A_VALUE = (sqlite3.IntegrityError, sqlite3.DataError, sqlite3.InterfaceError, sqlite3.ProgrammingError)
"""What SQLite raises for a value; its other errors are of the file."""
_OF_THE_FILE = (StoreError, OSError, MemoryError, sqlite3.Error, UnicodeDecodeError)
"""Of the file, the disk or the machine; the last of SQLite's message about a damaged schema."""


def is_of_the_content(error: Exception) -> bool:
    """Whether writing failed for what was to be written, by a fault of ours too, so that it would fail again however
    often it is tried."""
    if isinstance(error, NotThere) or (isinstance(error, StoreDamaged) and error.row_id is not None):
        return True
    first = error.__cause__ if isinstance(error, StoreError) and error.__cause__ is not None else error
    return isinstance(first, _OF_A_VALUE) or not isinstance(first, _OF_THE_FILE)


@contextlib.contextmanager
def apart(db: sqlite3.Connection, refused: Callable[[Exception], None]) -> Iterator[None]:
    """Undo what the block has written, and nothing else of the transaction, if it fails for what it writes."""
    db.execute("SAVEPOINT apart")
    try:
        yield
    except Exception as error:
        if not is_of_the_content(error):
            raise
        db.execute("ROLLBACK TO apart")
        refused(error)
    db.execute("RELEASE apart")


def insert(db: sqlite3.Connection, session_id: int, item: Item, chunk: bytes) -> None:
    """One item; chunk is the encoded form of Samples, empty for the others."""
    match item:
        case Samples():
            insert_chunk(db, session_id, source_id(db, item.source), item, chunk)
        case Notification():
            insert_row(
                db,
                "notifications",
                session_id=session_id,
                source_id=source_id(db, item.source),
                received_us=item.received_us,
                characteristic=item.characteristic,
                payload=bytes(item.payload),
            )
        case Hello():
            insert_row(
                db,
                "hellos",
                session_id=session_id,
                source_id=source_id(db, item.source),
                received_us=item.received_us,
                content=json_text(item.content),
            )
        case Event():
            content = json_text(item.content)
            insert_row(
                db, "events", session_id=session_id, received_us=item.received_us, kind=item.kind, content=content
            )


def insert_chunk(
    db: sqlite3.Connection, session_id: int, source: int, samples: Samples, chunk: bytes, *, chunk_id: int | None = None
) -> None:
    """One chunk; chunk_id None takes the next one."""
    scans, channels = samples.counts.shape
    insert_row(
        db,
        "chunks",
        id=chunk_id,
        session_id=session_id,
        source_id=source,
        first_us=int(samples.received_us.min()),
        last_us=int(samples.received_us.max()),
        scans=scans,
        channels=channels,
        bytes=chunk,
    )


def source_id(db: sqlite3.Connection, name: str) -> int:
    """The number of a source, assigned when it is first seen."""
    row = db.execute("SELECT id FROM sources WHERE name = ?", (name,)).fetchone()
    return insert_row(db, "sources", name=name) if row is None else int(row[0])
