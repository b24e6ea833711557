"""A recording: a session's wire, byte for byte with receipt times, in one small file that replays anywhere.

    line 1    the ASCII text "foreaft recording 1" and a line feed
    blocks    one after the other to the end of the file, each
                uint32 length of the packed part | uint32 CRC-32 of it | packed part    (little-endian)

The packed part of a block is one zstd frame. Unpacked:

    first     the header, a JSON object: the rig file's text, calibration, plan, rider's mass, provenance, whether
              it is simulated and then the truth, the onset to expect, as the maker gave them
    others    uint32 length of a table | table | payloads, one after the other
    last      a JSON object {"end": true, "items": how many, "sha256": of all payloads in the file, "header": the
              header again, "events": [[receipt time, kind, content], ...] the events again}

A table is a JSON object. "kinds" lists what occurs in the block: ["wire", source], ["notification", source, UUID] or
["event", kind]; three columns of equal length follow, one entry per item in receipt order: "of" (index into kinds),
"dt_us" (receipt time less the one before it in the block, the first from 0) and "size" (bytes of its payload). The
payload of an event is its content as JSON; that of "wire" the bytes of the rig's board or text transmitter, or one poll
of its Modbus line (daq/wire/modbus_poll.py); none at all where a transmitter's port was opened anew. The first table,
and every twelfth after it, has three keys more: "header", the header again, "before", how many items came before, and
"version", 1.

A block is at most 8 MiB unpacked, its table and the header 1 MiB, a payload 1 MiB and an event's 256 KiB; the whole
unpacks to at most 8 MiB and fifty times the file. Measured of a sweep: 1.3 times. More is refused before it is
unpacked: nobody has to trust a file to look into it.

A block is written and synced in one go, so a recording cut off anywhere reads up to its last whole block; a file
without a last block is incomplete and says so. A damaged block costs itself alone: the next is found by the mark every
zstd frame begins with (RFC 8878, section 3.1.1) and by its CRC. A damaged first line costs nothing, and a damaged
header is taken from its next copy: beside the first items, so that a recording cut off has one too. Older recordings
have no copies in their tables: their reader has to be given rig and calibration.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import os
import re
import reprlib
import struct
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import zstandard

from daq.items import Event, Notification, WireBytes, lost
from daq.keep.bounded import KIB, MIB, Refused, from_json, open_plain, unzstd
from daq.keep.file_bytes import FileBytes
from daq.keep.json_text import json_text
from daq.keep.private import new_file
from daq.keep.received import LATEST_US
from daq.keep.recording_blocks import MAGIC, MOST_BLOCK_BYTES, VERSION, BadRecording, Block, framed, scanned
from daq.keep.recording_header import HeaderAgain, header_again
from daq.words import counted

BLOCK_US = 5_000_000
"""Session time after which a block is written automatically."""
HEADER_EVERY = 12
"""Blocks from one copy of the header to the next, which takes a kilobyte: 0.6 % of a recording."""
LEVEL = 19
"""zstd level; a block of five seconds packs in a few milliseconds."""
MOST_TABLE_BYTES = MOST_HEADER_BYTES = MOST_PAYLOAD_BYTES = MIB
MOST_EVENT_BYTES = 256 * KIB
MOST_UNPACKED = (8 * MIB, 50)
"""Of the whole file, in bytes: the first, plus the second for each byte it takes packed."""
FULL_BLOCK = (20_000, 4 * MIB)
"""Items or bytes after which a block is written whatever the time; far below what a reader takes."""
MOST_EVENTS = 2**18
"""Characters of events that the last block repeats: thousands of events."""
MOST_END_BYTES = 2 * MIB + 2 * MOST_EVENTS

_TABLE = struct.Struct("<I")

Recorded: TypeAlias = WireBytes | Notification | Event


NO_HEADER = (
    "the header block is damaged, and no copy of it is whole: name the rig file it was recorded with, "
    "foreaft replay --rig RIG.toml, with the calibration that file names"
)
ANOTHER = "copy it again from where it was recorded, or look for the sweep in the store: foreaft sweeps"
_OTHER_VERSION = re.compile(rb"foreaft recording (\d+)\n")


class RecordingWriter:
    """Writes a recording as it happens. Close it to make it complete."""

    def __init__(self, path: Path, header: Mapping[str, Any]) -> None:
        """Begins the file. Raises FileExistsError rather than overwrite one."""
        self._file = new_file(path)
        self._items = self._blocks = 0
        self._digest = hashlib.sha256()
        self._pending: list[Recorded] = []
        self._pending_bytes = 0
        self._header, self._events = header, list[tuple[int, str, Any]]()
        self._events_left = MOST_EVENTS
        self._file.write(MAGIC)
        self._write_block(json_text(header).encode())

    def add(self, item: Recorded) -> None:
        """Adds the next item received; items go to the disk every five seconds of session time."""
        self._pending.append(item)
        if isinstance(item, Event) and (left := self._events_left - len(json_text(item.content))) >= 0:
            self._events_left = left
            self._events.append((item.received_us, item.kind, item.content))
        self._pending_bytes += 0 if isinstance(item, Event) else len(item.payload)
        waited_us = item.received_us - self._pending[0].received_us
        if waited_us >= BLOCK_US or len(self._pending) >= FULL_BLOCK[0] or self._pending_bytes >= FULL_BLOCK[1]:
            self.flush()

    def flush(self) -> None:
        """Writes what was added to the disk."""
        if not self._pending:
            return
        table, payloads = _packed(self._pending, {} if self._blocks % HEADER_EVERY else self._header_again())
        self._blocks += 1
        self._write_block(_TABLE.pack(len(table)) + table + payloads)
        self._items += len(self._pending)
        self._digest.update(payloads)
        self._pending, self._pending_bytes = [], 0

    def close(self) -> None:
        """Writes what is left and the last block. May be called twice."""
        if self._file.closed:
            return
        try:
            self.flush()
            end = {"end": True, "items": self._items, "sha256": self._digest.hexdigest()}
            again = {"header": self._header, "events": self._events}
            self._write_block(json_text({**end, **again}).encode())
        finally:
            self._file.close()

    def __enter__(self) -> RecordingWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _header_again(self) -> dict[str, Any]:
        return {"header": self._header, "before": self._items, "version": VERSION}

    def _write_block(self, block: bytes) -> None:
        packed = zstandard.ZstdCompressor(level=LEVEL).compress(block)
        self._file.write(framed(packed))
        self._file.flush()
        os.fsync(self._file.fileno())


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording opened for reading."""

    path: Path
    header: Mapping[str, Any]
    complete: bool
    """Whether it was properly closed and nothing is missing."""
    problems: tuple[str, ...]
    """What is missing, one sentence each."""
    _blocks: tuple[Block, ...]
    _events: tuple[Event, ...] = ()
    """The events, as the last block has them."""

    def items(self) -> Iterator[Recorded]:
        """What was received, in order, block by block from the file.

        In place of damaged blocks comes an event of daq.items.LOST, from what was received last before to what came
        first after them, and the events in between from the last block.
        """
        last_us, gap = 0, False
        for item in self._readable():
            if item is None:
                gap = True
                continue
            if gap:
                yield _gap(last_us, item.received_us)
                yield from (one for one in self._events if last_us < one.received_us < item.received_us)
            last_us, gap = item.received_us, False
            yield item

    def _readable(self) -> Iterator[Recorded | None]:
        """The items of the blocks, None in place of damaged ones."""
        with open_plain(self.path) as file:
            left = MOST_UNPACKED[0] + MOST_UNPACKED[1] * os.fstat(file.fileno()).st_size
            for place in self._blocks:
                if place is None:
                    yield None
                    continue
                at, length = place
                file.seek(at)
                block = _unzipped(file.read(length), self.path, at)
                left -= len(block)
                if left < 0:
                    raise BadRecording(f"{self.path} unpacks to more than {MOST_UNPACKED[1]} times its size")
                yield from _unpacked(block, self.path, at)


def read_recording(path: Path, given: Mapping[str, Any] | None = None) -> Recording:
    """Opens a recording and checks every block's CRC. Damage to its first line, its header or a block, and a missing
    end, are listed as the Recording's problems; its items are those of all whole blocks. Raises BadRecording if it is
    none, or if neither its header nor a copy can be read and none is given.
    """
    try:
        file = open_plain(path).detach()
    except Refused as error:
        raise BadRecording(str(error)) from error
    with file:
        content = FileBytes(file)
        found, problems = scanned(content, len(MAGIC), path)
        first_line = content[: len(MAGIC)]
        if not found:
            raise BadRecording(_of_none(path, first_line))
        end = _object_of(content, path, found[-1], MOST_END_BYTES) if len(found) > 1 else None
        end = end if end is not None and end.get("end") is True else None
        blocks = found[1 : None if end is None else -1]
        header: Mapping[str, Any] | None = _object_of(content, path, found[0], MOST_HEADER_BYTES)
        cut_off = "" if end is not None else _of_cut(content, path, blocks, sum(found[-1] or ()))
        again = HeaderAgain()
        if found[0] is None or first_line != MAGIC:
            again = header_again(_tables(content, path, blocks), end or {})
    if found[0] is None:
        header, said = (again.header, "a copy of it is used") if again.header is not None else (given, "one was given")
        if header is None:
            raise BadRecording(f"{path}: {NO_HEADER}")
        lost = "; what was received before the next whole block is lost with it" if again.lost_in_front else ""
        problems[0] = f"the header block at byte {len(MAGIC)} is damaged: {said}{lost}"
        blocks = [None, *blocks] if again.lost_in_front else blocks
    if first_line != MAGIC:
        problems.insert(0, _of_first_line(path, first_line, again.version))
    if not isinstance(header, Mapping):
        raise BadRecording(f"{path}: expected a JSON object of at most {MOST_HEADER_BYTES} bytes as the header")
    if end is None:
        problems.append(cut_off)
    return Recording(path, header, not problems, tuple(problems), tuple(blocks), _events_of(end or {}, path))


def _of_cut(content: FileBytes, path: Path, blocks: Iterable[Block], end: int) -> str:
    """Where a recording without a last block ends. end: behind its last whole block."""
    places = [place for place in blocks if place is not None]
    rest = f"; after it, {counted(len(content) - end, 'byte')} without a whole block" if len(content) > end else ""
    if not places:
        if rest:
            return f"nothing that was received can be read: only its header is whole{rest}; {ANOTHER}"
        return f"it was cut off before anything that was received: only its header is there; {ANOTHER}"
    at, length = places[-1]
    try:
        *_, last = _unpacked(_unzipped(content[at : at + length], path, at), path, at)
    except ValueError:  # BadRecording, which its items tell, or a block without any
        return f"it was cut off: it has no end behind its {counted(len(places), 'block')}{rest}"
    whole = counted(len(places), "whole block")
    return (
        f"it was cut off: it ends at {last.received_us / 1e6:.3f} s, with the last of {whole}{rest}"
        "; what was received later is lost, and how much that was is unknown"
    )


def _of_none(path: Path, first_line: bytes) -> str:
    if first_line == MAGIC:
        return f"{path}: its header is damaged or cut off, and no block behind it is whole; {ANOTHER}"
    return f"{path} is not a recording: expected it to begin with {MAGIC.decode().strip()!r}"


def _of_first_line(path: Path, first_line: bytes, version: Any) -> str:
    """What is wrong with this first line. BadRecording if it may be that of another version."""
    other = _OTHER_VERSION.fullmatch(first_line)
    if other is not None and version != VERSION:
        raise BadRecording(
            f"{path}: a recording of version {int(other[1])}, and this program reads version {VERSION}; if it was made "
            "by this program its first line is damaged: put it right in a copy of the file with "
            f"printf '{MAGIC.decode().strip()}\\n' | dd of=COPY conv=notrunc"
        )
    return "the first line is damaged; nothing else is lost with it"


def _tables(content: FileBytes, path: Path, blocks: Iterable[Block]) -> Iterator[dict[str, Any] | None]:
    """The tables of these blocks; None in place of one that cannot be read."""
    left = MOST_UNPACKED[0] + MOST_UNPACKED[1] * len(content)
    for place in blocks:
        block = b"" if place is None else _unzipped(content[place[0] : sum(place)], path, place[0])
        left -= len(block)
        if left < 0:
            return
        with contextlib.suppress(ValueError, struct.error):
            (length,) = _TABLE.unpack_from(block)
            table = from_json(block[_TABLE.size : _TABLE.size + length], most_bytes=MOST_TABLE_BYTES)
            if isinstance(table, dict):
                yield table
                continue
        yield None


def _events_of(end: Mapping[str, Any], path: Path) -> tuple[Event, ...]:
    try:
        return tuple(
            Event(_whole(at_us, "receipt time", LATEST_US), str(kind), dict(content))
            for at_us, kind, content in end.get("events", ())
        )
    except (ValueError, TypeError) as error:
        raise BadRecording(f"{path}: the events in its last block: {error}") from error


def _gap(last_us: int, next_us: int) -> Event:
    said = f"all that was received from {last_us / 1e6:.3f} to {next_us / 1e6:.3f} s"
    return lost(last_us, said, to_us=next_us, source="board", scans=None)


def _packed(items: list[Recorded], again: Mapping[str, Any]) -> tuple[bytes, bytes]:
    kinds: dict[tuple[str, ...], int] = {}
    payloads = [_payload(item) for item in items]
    times = [item.received_us for item in items]
    table = {
        "of": [kinds.setdefault(_kind(item), len(kinds)) for item in items],
        "dt_us": [b - a for a, b in itertools.pairwise([0, *times])],
        "size": [len(payload) for payload in payloads],
        "kinds": list(kinds),
    }
    text = json_text({**table, **again}).encode()
    if len(text) > MOST_TABLE_BYTES:  # a header as long as one may be
        text = json_text(table).encode()
    return text, b"".join(payloads)


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


def _object_of(content: FileBytes, path: Path, place: Block, most_bytes: int) -> dict[str, Any] | None:
    """The JSON object that this block holds; None when it holds none."""
    if place is None:
        return None
    at, length = place
    block = _unzipped(content[at : at + length], path, at)
    with contextlib.suppress(ValueError):
        found = from_json(block, most_bytes=most_bytes)
        return found if isinstance(found, dict) else None
    return None
