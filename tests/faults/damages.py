"""Ways to damage a store, each at a random place."""

from __future__ import annotations

import sqlite3
import struct
from pathlib import Path
from typing import TypeAlias

import numpy as np

from daq.keep.store.checksums import COVERED

DAMAGES = (
    *("bit", "bytes", "block", "header", "truncation", "table"),
    *("header and truncation", "header and zero tail", "log header", "log middle"),
)
Spans: TypeAlias = list[tuple[int, int]]
"""Places in the file that were changed: from, until before."""
Left: TypeAlias = tuple[bytes, bytes]
"""A store that a daemon has left open: the bytes of its file and of its log."""
PAGE, LOG_HEADER, FRAME_HEADER = 4096, 32, 24


def damaged(kind: str, content: bytes, left: Left, path: Path, rng: np.random.Generator) -> Spans:
    """Writes the content to path with one damage of this kind, or as it was left open with damage to its log; the
    places in the content that it changed."""
    if kind.startswith("log"):
        return _of_log(kind, left, path, rng)
    if kind.startswith("header and"):
        return _of_header_and_end(kind, content, path, rng)
    harmed = bytearray(content)
    end = len(content)
    if kind == "truncation":
        end = int(rng.integers(end // 4, end))
        path.write_bytes(content[:end])
        return [(end, len(content))]
    if kind == "table":
        return _without_table(content, path, rng)
    at, length = int(rng.integers(0, end)), 1
    if kind == "header":
        at, length = 0, int(rng.choice([16, 100, 4096]))
    elif kind != "bit":
        length = int(rng.choice([8, 64] if kind == "bytes" else [512, 4096, 20_000]))
    at = min(at, end - length)
    if kind == "bit":
        harmed[at] ^= 1 << int(rng.integers(8))
    else:
        harmed[at : at + length] = bytes(length) if rng.random() < 0.5 else rng.bytes(length)
    path.write_bytes(harmed)
    return [(at, at + length)]


def _without_table(content: bytes, path: Path, rng: np.random.Generator) -> Spans:
    """A table dropped, its pages zeroed; or only its name forgotten, its pages left."""
    path.write_bytes(content)
    table = str(rng.choice(list(COVERED)))
    db = sqlite3.connect(path)
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("PRAGMA secure_delete = ON")
    if rng.random() < 0.5:
        db.execute(f"DROP TABLE {table}")
    else:
        db.execute("PRAGMA writable_schema = ON")
        db.execute("DELETE FROM sqlite_schema WHERE tbl_name = ?", (table,))
    db.commit()
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    after = path.read_bytes()
    changed = np.flatnonzero(
        np.frombuffer(after[: len(content)], np.uint8) != np.frombuffer(content[: len(after)], np.uint8)
    )
    cuts = np.split(changed, np.flatnonzero(np.diff(changed) > 1) + 1)
    return [(int(cut[0]), int(cut[-1]) + 1) for cut in cuts if len(cut)]


def _of_header_and_end(kind: str, content: bytes, path: Path, rng: np.random.Generator) -> Spans:
    size, end = int(rng.choice([16, 100, PAGE])), int(rng.integers(len(content) // 4, len(content)))
    if kind == "header and zero tail":
        end = end // PAGE * PAGE
        path.write_bytes(bytes(size) + content[size:end] + bytes(len(content) - end))
    else:
        path.write_bytes(bytes(size) + content[size:end])
    return [(0, size), (end, len(content))]


def _of_log(kind: str, left: Left, path: Path, rng: np.random.Generator) -> Spans:
    main, log = left[0], bytearray(left[1])
    if kind == "log header":
        at, length = int(rng.integers(LOG_HEADER)), 1
        if rng.random() < 0.5:
            at, length = 0, int(rng.choice([LOG_HEADER, LOG_HEADER + FRAME_HEADER]))
    else:
        at, length = int(rng.integers(len(log) // 20, len(log) * 19 // 20)), int(rng.choice([1, 64, PAGE, 20_000]))
    log[at : at + length] = bytes(length) if rng.random() < 0.5 else rng.bytes(length)
    path.write_bytes(main)
    path.with_name(path.name + "-wal").write_bytes(log)
    return [
        ((number - 1) * PAGE, number * PAGE)
        for number, begin in last_frames(left[1]).items()
        if begin < at + length and at < begin + FRAME_HEADER + PAGE
    ]


def last_frames(log: bytes) -> dict[int, int]:
    """Where the last frame of each page begins in a log (sqlite.org/fileformat2.html, section 4.1)."""
    begins = range(LOG_HEADER, len(log), FRAME_HEADER + PAGE)
    return {struct.unpack_from(">I", log, at)[0]: at for at in begins}
