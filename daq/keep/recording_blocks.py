"""The blocks of a recording's file, whatever they hold: framing one, and finding the sound ones of a damaged file. The
layout is in recording.py.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TypeAlias

from daq.keep.bounded import MIB
from daq.keep.file_bytes import FileBytes

VERSION = 1
MAGIC = f"foreaft recording {VERSION}\n".encode()
MOST_BLOCK_BYTES = 8 * MIB
ZSTD_MARK = b"\x28\xb5\x2f\xfd"
MOST_LOOKS = 100
"""Positions tried as the block after a damaged one; by chance the mark occurs once in four thousand million bytes."""
Block: TypeAlias = tuple[int, int] | None
"""Position and length of its packed part; None in place of one or more damaged blocks."""

_HEAD = struct.Struct("<II")


class BadRecording(ValueError):
    """The file is not a readable recording; the text says where and why."""


def framed(packed: bytes) -> bytes:
    """A packed part as a block."""
    return _HEAD.pack(len(packed), zlib.crc32(packed)) + packed


def scanned(content: FileBytes, at: int, path: Path) -> tuple[list[Block], list[str]]:
    """The blocks from `at` on, and what is wrong with the damaged ones. BadRecording where another recording begins."""
    found: list[Block] = []
    problems: list[str] = []
    looks = iter(range(MOST_LOOKS))
    while True:
        if (length := _length_if_sound(content, at)) is not None:
            found.append((at + _HEAD.size, length))
            at += _HEAD.size + length
            continue
        following = _next_sound(content, at, looks)
        for begin in (at, (following or 0) - len(MAGIC)):
            if begin > 0 and content[begin : begin + len(MAGIC)] == MAGIC:
                raise BadRecording(_of_joined(path, begin))
        if following is None:
            break
        problems.append(_damaged(content, at, following))
        found.append(None)
        at = following
    return found, problems


def _of_joined(path: Path, begin: int) -> str:
    return (
        f"{path}: another recording begins at byte {begin}: two were joined in one file. Part them: "
        f"head -c {begin} for the first, tail -c +{begin + 1} for the rest"
    )


def _damaged(content: FileBytes, at: int, following: int) -> str:
    """What is said of what lies in front of the following sound block: one block if its length says so."""
    (length,) = struct.unpack("<I", content[at : at + 4])
    if at + _HEAD.size + length == following:
        return f"the block at byte {at} is damaged and left out"
    return f"bytes {at} to {following - 1} are damaged, one block or more, and left out"


def _length_if_sound(content: FileBytes, at: int) -> int | None:
    """The length of the packed part of the block that begins here; None when there is no sound one."""
    head = content[at : at + _HEAD.size]
    if len(head) < _HEAD.size:
        return None
    length, crc = _HEAD.unpack(head)
    if not 0 < length <= MOST_BLOCK_BYTES:  # zeros, as of a sector that cannot be read, have a CRC that is right
        return None
    return length if zlib.crc32(content[at + _HEAD.size : at + _HEAD.size + length]) == crc else None


def _next_sound(content: FileBytes, at: int, looks: Iterator[int]) -> int | None:
    """Where the next sound block begins after a damaged one."""
    mark = content.find(ZSTD_MARK, at + _HEAD.size + 1)
    while mark >= 0 and next(looks, None) is not None:
        if _length_if_sound(content, mark - _HEAD.size) is not None:
            return mark - _HEAD.size
        mark = content.find(ZSTD_MARK, mark + 1)
    return None
