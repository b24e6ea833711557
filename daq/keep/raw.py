"""Writes what was received into the tables of the raw, inside the caller's transaction."""

from __future__ import annotations

import sqlite3

from daq.items import Event, Hello, Item, Notification
from daq.keep import chunks
from daq.keep.json_text import json_text
from daq.keep.sums import second_sums
from daq.values import Samples


def insert(db: sqlite3.Connection, session_id: int, item: Item, chunk: bytes) -> None:
    """One item; chunk is the encoded form of Samples, empty for the others."""
    match item:
        case Samples():
            insert_chunk(db, session_id, source_id(db, item.source), item, chunk)
        case Notification(received_us, source, characteristic, payload):
            db.execute(
                "INSERT INTO notifications(session_id, source_id, received_us, characteristic, payload) "
                "VALUES (?, ?, ?, ?, ?)",
                (session_id, source_id(db, source), received_us, characteristic, bytes(payload)),
            )
        case Hello(received_us, source, content):
            db.execute(
                "INSERT INTO hellos(session_id, source_id, received_us, content) VALUES (?, ?, ?, ?)",
                (session_id, source_id(db, source), received_us, json_text(content)),
            )
        case Event(received_us, kind, content):
            db.execute(
                "INSERT INTO events(session_id, received_us, kind, content) VALUES (?, ?, ?, ?)",
                (session_id, received_us, kind, json_text(content)),
            )


def insert_chunk(
    db: sqlite3.Connection, session_id: int, source: int, samples: Samples, chunk: bytes, *, chunk_id: int | None = None
) -> None:
    """One chunk and its sums; chunk_id None takes the next one."""
    chunk_id = db.execute(
        "INSERT INTO chunks(id, session_id, source_id, first_us, last_us, scans, channels, crc, bytes) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            chunk_id,
            session_id,
            source,
            int(samples.received_us.min()),
            int(samples.received_us.max()),
            *samples.counts.shape,
            chunks.checksum(chunk),
            chunk,
        ),
    ).lastrowid
    db.executemany(
        "INSERT INTO second_sums(session_id, source_id, second, chunk_id, scans, status, sums) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        [
            (session_id, source, one.second, chunk_id, one.scans, one.status, one.to_bytes())
            for one in second_sums(samples)
        ],
    )


def source_id(db: sqlite3.Connection, name: str) -> int:
    """The number of a source, given on first sight."""
    row = db.execute("SELECT id FROM sources WHERE name = ?", (name,)).fetchone()
    if row is None:
        return int(db.execute("INSERT INTO sources(name) VALUES (?)", (name,)).lastrowid or 0)
    return int(row[0])
