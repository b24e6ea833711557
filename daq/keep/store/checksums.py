"""A checksum over what a row holds, so that damage is found out whichever part of the file was hit."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Mapping
from typing import Any

COVERED: dict[str, tuple[str, ...]] = {
    "chunks": ("session_id", "source_id", "first_us", "last_us", "scans", "channels", "bytes"),
    "notifications": ("session_id", "source_id", "received_us", "characteristic", "payload"),
    "hellos": ("session_id", "source_id", "received_us", "content"),
    "events": ("session_id", "received_us", "kind", "content"),
    "sources": ("name",),
    "calibrations": ("digest", "kept_utc", "content"),
    "sessions": ("started_utc", "monotonic_origin_ns", "software", "rig", "simulated"),
    "sweeps": ("session_id", "from_us", "gradient_pct", "plan", "rider"),
    "visits": ("client_id", "session_id", "begun_utc"),
    "visit_notes": ("visit_id", "kind", "made_utc", "content"),
    "benches": ("session_id", "begun_utc", "setup"),
    "bench_steps": ("bench_id", "made_utc", "kind", "content"),
    "certificates": ("calibration_id", "bench_id", "made_utc", "content"),
    "weight_checks": ("calibration_id", "made_utc", "content"),
    "results": ("sweep_id", "kind", "method", "made_utc", "content"),
}
"""The columns of each table that never change once written, in the order in which the checksum takes them."""


def row_crc(table: str, row: Mapping[str, Any]) -> int:
    """CRC-32 (zlib's, IEEE 802.3) over the covered columns, each as its length, a letter for its type, its bytes."""
    crc = 0
    for column in COVERED[table]:
        letter, content = _content(row[column])
        crc = zlib.crc32(content, zlib.crc32(b"%d%s" % (len(content), letter), crc))
    return crc


def insert_row(db: sqlite3.Connection, table: str, **row: Any) -> int:
    """Inserts a row with its checksum and gives its id; an id of None takes the next one."""
    row["crc"] = row_crc(table, row)
    cursor = db.execute(
        f"INSERT INTO {table}({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", tuple(row.values())
    )
    return int(cursor.lastrowid or 0)


def unsound_rows(db: sqlite3.Connection, table: str) -> list[int]:
    """The ids of the rows that are not what was written."""
    columns = ("id", *COVERED[table], "crc")
    rows = (
        dict(zip(columns, values, strict=True)) for values in db.execute(f"SELECT {', '.join(columns)} FROM {table}")
    )
    return [int(row["id"]) for row in rows if row_crc(table, row) != row["crc"]]


def _content(value: Any) -> tuple[bytes, bytes]:
    match value:
        case bytes():
            return b"b", value
        case str():
            return b"s", value.encode("utf-8", "surrogateescape")
        case int():
            return b"i", b"%d" % value
        case float():
            return b"f", repr(value).encode()
        case None:
            return b"n", b""
    raise TypeError(f"expected what SQLite holds, got {type(value).__name__}")
