"""A checksum over the content of a row, so that damage is detected wherever in the file it is."""

from __future__ import annotations

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
    "clients": ("pseudonym", "since_utc", "keep_until"),
    "client_names": ("client_id", "name"),
    "consents": ("client_id", "kind", "given", "at_utc"),
    "client_joins": ("kind", "kept_id", "other_id", "at_utc", "content"),
    "copies": ("kind", "made_utc", "path", "client_id"),
    "copied_sweeps": ("copy_id", "sweep_id"),
    "twins": ("of", "row_id", "content"),
}
"""The columns of each table covered by its checksum `crc`, in the order in which it takes them."""
CHANGING: dict[str, tuple[str, ...]] = {
    "sessions": ("id", "calibration_id", "client_id", "ended_us"),
    "sweeps": ("id", "client_id", "calibration_id", "to_us", "state"),
}
"""The same for `now_crc`: what is written later, or changes."""


def row_crc(table: str, row: Mapping[str, Any], covered: Mapping[str, tuple[str, ...]] = COVERED) -> int:
    """CRC-32 (zlib's, IEEE 802.3) over the covered columns, each as its length, a letter for its type, its bytes."""
    crc = 0
    for column in covered[table]:
        letter, content = _content(row[column])
        crc = zlib.crc32(content, zlib.crc32(b"%d%s" % (len(content), letter), crc))
    return crc


def sealed(table: str, row: Mapping[str, Any]) -> dict[str, int]:
    """The checksums that go with a row, by column."""
    found = {"crc": row_crc(table, row)} if table in COVERED else {}
    return found | ({"now_crc": row_crc(table, row, CHANGING)} if table in CHANGING else {})


def is_sound(table: str, row: Mapping[str, Any]) -> bool:
    """Whether a row is what was written. If an older store has no column for the checksum, the row counts as sound."""
    for column, covered in (("crc", COVERED), ("now_crc", CHANGING)):
        if column not in row or table not in covered:
            continue
        if not row.keys() >= set(covered[table]) or row[column] != row_crc(table, row, covered):
            return False
    return True


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
