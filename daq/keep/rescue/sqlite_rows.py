"""The rows on a page of an SQLite file: sqlite.org/fileformat2.html, sections 1.6 (cells) and 2.1 (records). Pure."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

MOST_COLUMNS = 32
"""No table of ours is wider."""
MOST_PAYLOAD = 2**27
"""SQLite's limit for us (daq.keep.store.schema)."""
_LONGEST, _LONGEST_LENGTH = 9, 4
"""Bytes of a number (section 1.6, varint), and of one up to MOST_PAYLOAD."""
_IMPOSSIBLE = 2**40
"""As long as no column is."""


class NoRecord(ValueError):
    """No row begins here."""


@dataclass(frozen=True, slots=True)
class FoundRow:
    """A row as it lies in the file."""

    place: int
    """Where on its page it begins."""
    number: int
    """Its rowid."""
    values: tuple[Any, ...]
    overflow: tuple[int, ...]
    """Further pages it lies on."""
    size: int = 0
    """Bytes it takes on its page."""


def cell_places(page: bytes, first: bool, *, inner: bool = False) -> list[int]:
    """Where the cells of a page begin, as its own pointers say; first: page 1, which begins with the file's header.
    inner: a page above others, whose own header is longer."""
    begin, header = 100 if first else 0, 12 if inner else 8
    if len(page) < begin + header:
        return []
    (count,) = struct.unpack_from(">H", page, begin + 3)
    count = min(count, (len(page) - begin - header) // 2)
    return list(struct.unpack_from(f">{count}H", page, begin + header))


def children_of(page: bytes, places: Sequence[int], first: bool = False) -> list[int]:
    """The pages below this one, from left to right. NoRecord where a cell reaches beyond it."""
    if any(place > len(page) - 4 for place in places):
        raise NoRecord("it reaches beyond its page")
    return [struct.unpack_from(">I", page, place)[0] for place in (*places, 108 if first else 8)]


def index_cell_at(page: bytes, place: int, *, inner: bool) -> tuple[Any, ...]:
    """The record of an index's page that begins at place. NoRecord when none does; ours never need a second page."""
    size, at = _varint(page, place + 4 if inner else place)
    payload = page[at : at + size]
    if not 2 <= size == len(payload):
        raise NoRecord("it reaches beyond its page")
    return _values(payload)


def accounts_for_all(page: bytes, first: bool, cells: Sequence[FoundRow]) -> bool:
    """Whether these cells, free blocks and fragments fill a page from where it says they begin (sections 1.6, 1.6.1).
    If not, it may hold rows that its own count leaves out.
    """
    free, _, content, taken = struct.unpack_from(">HHHB", page, (100 if first else 0) + 1)
    taken += sum(max(4, cell.size) for cell in cells)
    seen: set[int] = set()
    while 0 < free <= len(page) - 4 and free not in seen:
        seen.add(free)
        free, size = struct.unpack_from(">HH", page, free)
        taken += size
    return (content or 65536) + int(taken) == len(page)


def cell_at(page: bytes, place: int, usable: int, page_of: Callable[[int], bytes]) -> FoundRow:
    """The cell of a table's leaf page that begins at place. NoRecord when none does."""
    size, at = _varint(page, place)
    number, at = _varint(page, at)
    if not 2 <= size <= MOST_PAYLOAD:
        raise NoRecord("no length of a row")
    local = _local(size, usable)
    end = at + local + (0 if local == size else 4)
    payload = page[at : at + local]
    if len(payload) < local:
        raise NoRecord("it reaches beyond its page")
    _serial_types(payload, size)  # before any other page is read for what is none
    chain: list[int] = []
    if local < size:
        follower = page[at + local : at + local + 4]
        payload, chain = _with_overflow(payload, follower, size, usable, page_of)
    return FoundRow(place, number - 2**64 if number >= 2**63 else number, _values(payload), tuple(chain), end - place)


def _local(size: int, usable: int) -> int:
    """How many bytes of a row lie on the page itself."""
    most, least = usable - 35, (usable - 12) * 32 // 255 - 23
    if size <= most:
        return size
    here = least + (size - least) % (usable - 4)
    return here if here <= most else least


def _with_overflow(
    payload: bytes, follower: bytes, size: int, usable: int, page_of: Callable[[int], bytes]
) -> tuple[bytes, list[int]]:
    parts, left, chain = [payload], size - len(payload), list[int]()
    while left:
        if len(follower) < 4:
            raise NoRecord("its chain of pages breaks off")
        (number,) = struct.unpack(">I", follower)
        page = page_of(number)
        if len(page) < 4 + min(left, usable - 4) or number in chain:
            raise NoRecord("its chain of pages breaks off")
        parts.append(page[4 : 4 + min(left, usable - 4)])
        left -= len(parts[-1])
        chain.append(number)
        follower = page[:4]
    return b"".join(parts), chain


def _serial_types(payload: bytes, size: int) -> tuple[list[int], int]:
    """The type of each column and where their values begin. NoRecord when they do not fill the row."""
    length, at = _varint(payload, 0)
    if not at < length <= min(size, 9 * MOST_COLUMNS):
        raise NoRecord("no header of a row")
    types = []
    while at < length:
        kind, at = _varint(payload, at)
        types.append(kind)
    if at != length or len(types) > MOST_COLUMNS or length + sum(map(_length, types)) != size:
        raise NoRecord("its columns do not fill it")
    return types, length


def _values(payload: bytes) -> tuple[Any, ...]:
    types, at = _serial_types(payload, len(payload))
    found = []
    for kind in types:
        found.append(_value(kind, payload[at : at + _length(kind)]))
        at += _length(kind)
    return tuple(found)


def _length(kind: int) -> int:
    if kind in (10, 11):
        raise NoRecord("a type there is not")
    return (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)[kind] if kind < 12 else (kind - 12) // 2


def _value(kind: int, content: bytes) -> Any:
    if kind == 0:
        return None
    if kind == 7:
        return struct.unpack(">d", content)[0]
    if kind in (8, 9):
        return kind - 8
    if kind < 12:
        return int.from_bytes(content, "big", signed=True)
    return content if kind % 2 == 0 else content.decode("utf-8", "surrogateescape")


def _varint(content: bytes, at: int) -> tuple[int, int]:
    """A number of 1 to 9 bytes, and where the next begins."""
    value = 0
    for place in range(at, at + 9):
        if place >= len(content):
            raise NoRecord("it reaches beyond its page")
        byte = content[place]
        if place == at + 8:
            return value << 8 | byte, place + 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + 1
    raise AssertionError("a ninth byte ends it")


def any_cells(page: bytes, usable: int, page_of: Callable[[int], bytes]) -> Iterator[FoundRow]:
    """Whatever on a page reads as a row, wherever it begins: for a page whose own pointers are damaged."""
    for place in _likely(page):
        try:
            yield cell_at(page, place, usable, page_of)
        except NoRecord:
            continue


def _likely(page: bytes) -> list[int]:
    """Where a row's length is that of its header and of the columns that header names: of all places at once, since one
    by one they take fifty times as long. No length is written longer than it needs.
    """
    first = np.zeros(len(page) + 2 * _LONGEST + _LONGEST * MOST_COLUMNS, dtype=np.int64)
    first[: len(page)] = np.frombuffer(page, dtype=np.uint8)
    widths, values, more = np.ones_like(first), first & 0x7F, first >= 0x80
    for i in range(1, _LONGEST):
        widths += more
        if i < _LONGEST_LENGTH:
            values[:-i] = np.where(more[:-i], values[:-i] << 7 | first[i:] & 0x7F, values[:-i])
        more[:-i] &= first[i:] >= 0x80
    none = widths > _LONGEST_LENGTH
    fixed = np.array([0, 1, 2, 3, 4, 6, 8, 8, 0, 0, _IMPOSSIBLE, _IMPOSSIBLE])
    lengths = np.where(values < len(fixed), fixed[np.minimum(values, len(fixed) - 1)], (values - len(fixed)) // 2)
    lengths[none] = _IMPOSSIBLE
    begins = np.append(True, first[:-1] < 0x80)
    before = np.append(0, np.cumsum(lengths * begins))
    place = np.arange(max(0, len(page) - 4))
    header = place + widths[place]
    header += widths[header]
    length = np.minimum(values[header], _LONGEST * MOST_COLUMNS)
    columns, end = header + widths[header], header + length
    fits = (columns < end) & (first[end - 1] < 0x80) & (values[place] == length + before[end] - before[columns])
    likely: list[int] = place[fits & ~none[place] & ~none[header]].tolist()
    return likely
