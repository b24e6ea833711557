"""A recording: a session's wire, byte for byte with receipt times, in one small file that replays anywhere.

    line 1    the ASCII text "foreaft recording 1" and a line feed
    blocks    one after the other to the end of the file, each
                uint32 length of the packed part | uint32 CRC-32 of it | packed part    (little-endian)

The packed part of a block is one zstd frame. Unpacked:

    first     the header, a JSON object: the rig file's text, calibration, plan, rider's mass, provenance, whether
              it is simulated and then the truth, the onset to expect, as the maker gave them
    others    uint32 length of a table | table | payloads, one after the other
    last      a JSON object {"end": true, "items": how many, "sha256": of all payloads in the file}

A table is a JSON object. "kinds" lists what occurs in the block: ["wire", source], ["notification", source, UUID] or
["event", kind]; three columns of equal length follow, one entry per item in receipt order: "of" (index into kinds),
"dt_us" (receipt time less the one before it in the block, the first from 0) and "size" (bytes of its payload). The
payload of an event is its content as JSON; that of "wire" the bytes of the rig's board or text transmitter, or one poll
of its Modbus line (daq/wire/modbus_poll.py); none at all where a transmitter's port was opened anew.

A block is at most 8 MiB unpacked, its table and the header 1 MiB, a payload 1 MiB and an event's 256 KiB; the whole
unpacks to at most 8 MiB and fifty times the file. Measured of a sweep: 1.3 times. More is refused before it is
unpacked: nobody has to trust a file to look into it.

A block is written and synced in one go, so a recording cut off anywhere reads up to its last whole block; a file
without a last block is incomplete and says so.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import os
import reprlib
import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, TypeAlias

import zstandard

from daq.items import Event, Notification, WireBytes
from daq.keep.bounded import KIB, MIB, Refused, from_json, open_plain, unzstd
from daq.keep.json_text import json_text
from daq.keep.private import new_file
from daq.keep.received import LATEST_US

MAGIC = b"foreaft recording 1\n"
BLOCK_US = 5_000_000
"""Session time after which a block is written unasked."""
LEVEL = 19
"""zstd level; a block of five seconds packs in a few milliseconds."""
MOST_BLOCK_BYTES = 8 * MIB
MOST_TABLE_BYTES = MOST_HEADER_BYTES = MOST_PAYLOAD_BYTES = MIB
MOST_EVENT_BYTES = 256 * KIB
MOST_UNPACKED = (8 * MIB, 50)
"""The whole file: so many bytes, and so many times its own."""
FULL_BLOCK = (20_000, 4 * MIB)
"""Items or bytes after which a block is written whatever the time; far below what a reader takes."""

_BLOCK = struct.Struct("<II")
_TABLE = struct.Struct("<I")

Recorded: TypeAlias = WireBytes | Notification | Event


class BadRecording(ValueError):
    """The file is not a recording, or not a readable one; the text says where and why."""


class RecordingWriter:
    """Writes a recording as it happens. Close it to make it complete."""

    def __init__(self, path: Path, header: Mapping[str, Any]) -> None:
        """Begins the file. Raises FileExistsError rather than overwrite one."""
        self._file = new_file(path)
        self._items = 0
        self._digest = hashlib.sha256()
        self._pending: list[Recorded] = []
        self._pending_bytes = 0
        self._file.write(MAGIC)
        self._write_block(json_text(header).encode())

    def add(self, item: Recorded) -> None:
        """The next item received; every five seconds of session time they go to the disk."""
        self._pending.append(item)
        self._pending_bytes += 0 if isinstance(item, Event) else len(item.payload)
        waited_us = item.received_us - self._pending[0].received_us
        if waited_us >= BLOCK_US or len(self._pending) >= FULL_BLOCK[0] or self._pending_bytes >= FULL_BLOCK[1]:
            self.flush()

    def flush(self) -> None:
        """Puts what was added on the disk."""
        if not self._pending:
            return
        table, payloads = _packed(self._pending)
        self._write_block(_TABLE.pack(len(table)) + table + payloads)
        self._items += len(self._pending)
        self._digest.update(payloads)
        self._pending, self._pending_bytes = [], 0

    def close(self) -> None:
        """Writes what is left and the last block. Twice does no harm."""
        if self._file.closed:
            return
        try:
            self.flush()
            end = {"end": True, "items": self._items, "sha256": self._digest.hexdigest()}
            self._write_block(json_text(end).encode())
        finally:
            self._file.close()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _write_block(self, block: bytes) -> None:
        packed = zstandard.ZstdCompressor(level=LEVEL).compress(block)
        self._file.write(_BLOCK.pack(len(packed), zlib.crc32(packed)) + packed)
        self._file.flush()
        os.fsync(self._file.fileno())


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording opened for reading."""

    path: Path
    header: Mapping[str, Any]
    complete: bool
    """Whether it was closed in good order and nothing is missing."""
    problems: tuple[str, ...]
    """What is missing, a sentence each."""
    _blocks: tuple[tuple[int, int], ...]

    def items(self) -> Iterator[Recorded]:
        """What was received, in order, block by block from the file."""
        with open_plain(self.path) as file:
            left = MOST_UNPACKED[0] + MOST_UNPACKED[1] * os.fstat(file.fileno()).st_size
            for at, length in self._blocks:
                file.seek(at)
                block = _unzipped(file.read(length), self.path, at)
                left -= len(block)
                if left < 0:
                    raise BadRecording(f"{self.path} unpacks to more than {MOST_UNPACKED[1]} times its size")
                yield from _unpacked(block, self.path, at)


def read_recording(path: Path) -> Recording:
    """Opens a recording and checks every block's CRC.

    Damaged blocks and a missing end are problems of the Recording; its items are all the others. Raises BadRecording
    when there is no readable header.
    """
    try:
        file = open_plain(path)
    except Refused as error:
        raise BadRecording(str(error)) from error
    with file:
        if file.read(len(MAGIC)) != MAGIC:
            raise BadRecording(f"{path} is not a recording: expected it to begin with {MAGIC.decode().strip()!r}")
        sound, problems = _scanned(file)
        blocks: list[bytes] = []
        for at, length in sound[:1] + sound[-1:]:
            file.seek(at)
            blocks.append(_unzipped(file.read(length), path, at))
    if not sound or sound[0][0] != len(MAGIC) + _BLOCK.size:
        raise BadRecording(f"{path}: the header block is damaged or missing")
    header, end = _object(blocks[0]), _object(blocks[-1])
    if header is None:
        raise BadRecording(f"{path}: expected a JSON object of at most {MOST_HEADER_BYTES} bytes as the header")
    ended = end is not None and end.get("end") is True and len(sound) > 1
    if not ended:
        problems.append("it was cut off: the last block is missing")
    return Recording(path, header, ended and not problems, tuple(problems), tuple(sound[1 : -1 if ended else None]))


def _scanned(file: BinaryIO) -> tuple[list[tuple[int, int]], list[str]]:
    """Place and length of each sound block after the magic, and what is wrong with the others. Reads block by block:
    the file may be larger than memory."""
    sound, problems, at = [], [], file.tell()
    for number in itertools.count(1):
        head = file.read(_BLOCK.size)
        if len(head) < _BLOCK.size:
            break
        length, crc = _BLOCK.unpack(head)
        packed = file.read(length) if length <= MOST_BLOCK_BYTES else b""
        if len(packed) < length:
            break
        if zlib.crc32(packed) == crc:
            sound.append((at + _BLOCK.size, length))
        else:
            problems.append(f"block {number} at byte {at} is damaged and left out")
        at += _BLOCK.size + length
    return sound, problems


def _packed(items: list[Recorded]) -> tuple[bytes, bytes]:
    kinds: dict[tuple[str, ...], int] = {}
    payloads = [_payload(item) for item in items]
    times = [item.received_us for item in items]
    table = {
        "of": [kinds.setdefault(_kind(item), len(kinds)) for item in items],
        "dt_us": [b - a for a, b in itertools.pairwise([0, *times])],
        "size": [len(payload) for payload in payloads],
        "kinds": list(kinds),
    }
    return json_text(table).encode(), b"".join(payloads)


def _kind(item: Recorded) -> tuple[str, ...]:
    match item:
        case WireBytes(source=source):
            return ("wire", source)
        case Notification(source=source, characteristic=characteristic):
            return ("notification", source, characteristic)
        case Event():
            return ("event", item.kind)


def _payload(item: Recorded) -> bytes:
    return json_text(item.content).encode() if isinstance(item, Event) else bytes(item.payload)


def _unpacked(block: bytes, path: Path, at: int) -> Iterator[Recorded]:
    try:
        (length,) = _TABLE.unpack_from(block)
        table = from_json(block[_TABLE.size : _TABLE.size + length], most_bytes=MOST_TABLE_BYTES)
        place, now_us = _TABLE.size + length, 0
        for of, dt_us, size in zip(table["of"], table["dt_us"], table["size"], strict=True):
            now_us += _whole(dt_us, "dt_us", LATEST_US - now_us)
            end = place + _whole(size, "size", min(MOST_PAYLOAD_BYTES, len(block) - place))
            kinds = table["kinds"]
            yield _item(kinds[_whole(of, "of", len(kinds) - 1)], now_us, block[place:end])
            place = end
        if place != len(block):
            raise ValueError(f"{len(block) - place} bytes belong to no item")
    except (struct.error, ValueError, KeyError, TypeError) as error:
        raise BadRecording(f"{path}: block at byte {at}: {_reason(error)}") from error


def _whole(value: Any, name: str, most: int) -> int:
    if type(value) is not int or not 0 <= value <= most:
        raise ValueError(f"{name}: expected a whole number of 0 to {most}, got {reprlib.repr(value)}")
    return value


def _reason(error: Exception) -> str:
    return f"expected a key {error}" if isinstance(error, KeyError) else str(error)


def _item(kind: list[str], received_us: int, payload: bytes) -> Recorded:
    match kind:
        case ["wire", str(source)]:
            return WireBytes(received_us, source, payload)
        case ["notification", str(source), str(characteristic)]:
            return Notification(received_us, source, characteristic, payload)
        case ["event", str(name)]:
            return Event(received_us, name, from_json(payload, most_bytes=MOST_EVENT_BYTES))
    raise ValueError(f"expected wire, notification or event, got {reprlib.repr(kind)}")


def _unzipped(packed: bytes, path: Path, at: int) -> bytes:
    try:
        return unzstd(packed, MOST_BLOCK_BYTES)
    except ValueError as error:
        raise BadRecording(f"{path}: block at byte {at}: {error}") from error


def _object(block: bytes) -> dict[str, Any] | None:
    with contextlib.suppress(ValueError):
        found = from_json(block, most_bytes=MOST_HEADER_BYTES)
        return found if isinstance(found, dict) else None
    return None
