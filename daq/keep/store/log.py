"""Whether SQLite can replay a store's log to its end. At the first frame that is not as it was written it stops without
a word, and the next writer takes the place of what comes after.

Layout: sqlite.org/fileformat2.html, sections 4.1 (the log) and 4.2 (its checksums).
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from daq.keep.bounded import open_plain
from daq.keep.errors import StoreDamaged

HEADER, FRAME_HEADER = 32, 24
MAGIC = (0x377F0682, 0x377F0683)
PAGE_SIZES = tuple(1 << power for power in range(9, 17))
USUAL_SIZE = 4096
Words = NDArray[np.uint32]
_AT_ONCE = 256
"""Frames read at a time."""
_STEP = np.array([[1, 1], [1, 2]], dtype=np.uint32)
"""What adding eight bytes does to the two sums: s0 += x0 + s1; s1 += x1 + s0."""


def check_log(path: Path) -> None:
    """Raises StoreDamaged if the log holds more than one transaction behind a frame that is not as it was written. A
    computer that lost its power may leave one: it was not on the disk yet. Nobody else may have the store open."""
    log = path.with_name(path.name + "-wal")
    if log.exists() and (lost := _behind_damage(log)) > 1:
        raise StoreDamaged(
            f"{log} is damaged, and {lost} transactions behind the damage would be lost: keep it with the store; "
            "foreaft salvage reads both"
        )


def _behind_damage(log: Path) -> int:
    """Transactions of this log that SQLite would pass over."""
    with open_plain(log) as file:
        header = file.read(HEADER)
        if len(header) < HEADER:
            return 0
        magic, _, size = struct.unpack_from(">III", header)
        order = ">u4" if magic & 1 else "<u4"
        whole, sums = header_sound(header), struct.unpack_from(">II", header, 24)
        salts = header[16:24] if whole else None
        size = size if size in PAGE_SIZES else USUAL_SIZE
        weights, turn = _weights(size // 8 + 1)
        lost = 0
        while len(content := file.read(_AT_ONCE * (FRAME_HEADER + size))) >= FRAME_HEADER + size:
            count = len(content) // (FRAME_HEADER + size)
            frames = np.frombuffer(content, np.uint8, count * (FRAME_HEADER + size)).reshape(count, -1)
            covered = np.ascontiguousarray(np.delete(frames, slice(8, FRAME_HEADER), axis=1)).view(order)
            for frame, part in zip(frames, _sums(covered, weights), strict=True):
                salts = frame[8:16].tobytes() if salts is None else salts
                sums = _turned(turn, sums, part)
                of_this_log = frame[8:16].tobytes() == salts
                whole = whole and of_this_log and sums == struct.unpack(">II", frame[16:24].tobytes())
                lost += bool(of_this_log and frame[4:8].any() and not whole)
    return lost


def header_sound(header: bytes) -> bool:
    """Whether the first bytes of a log are what was written."""
    magic, _, size = struct.unpack_from(">III", header)
    weights, turn = _weights(3)
    sums = _turned(turn, (0, 0), _sums(np.frombuffer(header[:24], ">u4" if magic & 1 else "<u4"), weights))
    return magic in MAGIC and size in PAGE_SIZES and sums == struct.unpack_from(">II", header, 24)


def _sums(words: Words, weights: Words) -> Words:
    """What so many words add to both sums, (..., 2)."""
    return np.stack([(words * one).sum(axis=-1, dtype=np.uint32) for one in weights], axis=-1)


def _turned(turn: Words, sums: tuple[int, ...], part: Words) -> tuple[int, ...]:
    """Both sums after a part was added."""
    before = [sum(int(factor) * one for factor, one in zip(row, sums, strict=True)) for row in turn]
    return tuple((old + int(new)) % 2**32 for old, new in zip(before, part, strict=True))


def _weights(pairs: int) -> tuple[Words, Words]:
    """What each word of this many pairs adds to either sum in the end, (2, 2 pairs), and how the sums before act
    on those after, (2, 2); all modulo 2^32."""
    of_pair, found = np.array([[1, 0], [1, 1]], dtype=np.uint32), np.empty((2, 2 * pairs), dtype=np.uint32)
    turn = np.eye(2, dtype=np.uint32)
    for pair in reversed(range(pairs)):
        found[:, 2 * pair : 2 * pair + 2] = turn @ of_pair
        turn = turn @ _STEP
    return found, turn
