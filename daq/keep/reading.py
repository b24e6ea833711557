"""Reads a session back in the order in which it was received."""

from __future__ import annotations

import dataclasses
import json
import sqlite3
from collections.abc import Callable, Iterator

import numpy as np

from daq.items import Event, Hello, Item, Notification
from daq.keep import chunks
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.sums import SecondSums, added
from daq.values import Bools, Samples

BEGIN_US = -(2**63)
END_US = 2**63 - 1
_RANK = {Hello: 0, Samples: 1, Notification: 2, Event: 3}
"""Order of what carries the same receipt time. Never needed with the session's own clock, which repeats no stamp."""


def read_items(
    db: sqlite3.Connection,
    session_id: int,
    from_us: int = BEGIN_US,
    to_us: int = END_US,
    damaged: Callable[[StoreDamaged], None] | None = None,
) -> Iterator[Item]:
    """Everything received from from_us until before to_us, in receipt order.

    Samples of one source come in the order in which they were put, cut where something else was received between
    them. A damaged chunk raises StoreDamaged, or is handed to `damaged` and left out.
    """
    streams = [_Stream(_points(db, session_id, from_us, to_us), to_us)]
    for source_id, source in db.execute("SELECT id, name FROM sources ORDER BY id").fetchall():
        found = read_samples(db, session_id, (source_id, source), from_us, to_us, damaged)
        streams.append(_Stream(found, to_us))
    yield from _merged(streams)


def read_samples(
    db: sqlite3.Connection,
    session_id: int,
    source: tuple[int, str],
    from_us: int,
    to_us: int,
    damaged: Callable[[StoreDamaged], None] | None = None,
) -> Iterator[Samples]:
    """The chunks of one source, in the order in which they were put, cut to the window. source: (id, name)."""
    ids = db.execute(
        "SELECT id FROM chunks WHERE session_id = ? AND source_id = ? AND last_us >= ? AND first_us < ? ORDER BY id",
        (session_id, source[0], from_us, to_us),
    ).fetchall()
    for (chunk_id,) in ids:
        try:
            samples = read_chunk(db, chunk_id, source[1])
        except StoreDamaged as error:
            if damaged is None:
                raise
            damaged(error)
            continue
        inside = (samples.received_us >= from_us) & (samples.received_us < to_us)
        if inside.all():
            yield samples
        elif inside.any():
            yield cut(samples, inside)


def read_chunk(db: sqlite3.Connection, chunk_id: int, source: str) -> Samples:
    """One chunk. Raises StoreDamaged naming it when its bytes are not what was put."""
    row = db.execute(
        "SELECT crc, bytes, session_id, first_us, last_us, scans FROM chunks WHERE id = ?", (chunk_id,)
    ).fetchone()
    if row is None:
        raise StoreError(f"chunk {chunk_id} was re-packed while it was being read: read again")
    crc, packed, session_id, first_us, last_us, scans = row
    where = f"chunk {chunk_id} of '{source}' (session {session_id}, {first_us / 1e6:.3f} to {last_us / 1e6:.3f} s)"
    found = chunks.checksum(packed)
    if found != crc:
        raise StoreDamaged(f"{where} is damaged: checksum is {found:08x}, expected {crc:08x}; all others can be read")
    try:
        samples = chunks.decode(packed, source=source)
    except chunks.BadChunk as error:
        raise StoreDamaged(f"{where} is damaged: {error}; all others can be read") from error
    if len(samples) != scans:
        raise StoreDamaged(f"{where} holds {len(samples)} scans, expected {scans}; all others can be read")
    return samples


def _points(db: sqlite3.Connection, session_id: int, from_us: int, to_us: int) -> Iterator[Item]:
    """Hellos, notifications and events of the window, by receipt time."""
    window = (session_id, from_us, to_us)
    found: list[Item] = [
        Hello(at, source, json.loads(content))
        for at, source, content in db.execute(
            "SELECT received_us, name, content FROM hellos JOIN sources ON sources.id = source_id "
            "WHERE session_id = ? AND received_us >= ? AND received_us < ? ORDER BY hellos.id",
            window,
        )
    ]
    found += [
        Notification(*row)
        for row in db.execute(
            "SELECT received_us, name, characteristic, payload FROM notifications "
            "JOIN sources ON sources.id = source_id "
            "WHERE session_id = ? AND received_us >= ? AND received_us < ? ORDER BY notifications.id",
            window,
        )
    ]
    found += [
        Event(at, kind, json.loads(content))
        for at, kind, content in db.execute(
            "SELECT received_us, kind, content FROM events "
            "WHERE session_id = ? AND received_us >= ? AND received_us < ? ORDER BY id",
            window,
        )
    ]
    found.sort(key=_point_order)
    return iter(found)


def _point_order(item: Item) -> tuple[int, int]:
    assert not isinstance(item, Samples)
    return item.received_us, _RANK[type(item)]


class _Stream:
    """One ordered run of items with the receipt time of what comes next, never running backwards."""

    def __init__(self, items: Iterator[Item], end_us: int) -> None:
        self._items = items
        self._latest_us = BEGIN_US
        self.end = (end_us, len(_RANK))
        self.head: Item | None = None
        self._times = np.empty(0, dtype=np.int64)
        self._next()

    @property
    def key(self) -> tuple[int, int]:
        """What decides whose turn it is; self.end when there is nothing more."""
        if self.head is None:
            return self.end
        return int(self._times[0]), _RANK[type(self.head)]

    def take(self, until: tuple[int, int]) -> Item:
        """The next item; of samples, as many scans as come before the key `until`, at least one."""
        item = self.head
        assert item is not None
        if not isinstance(item, Samples):
            self._next()
            return item
        ties_too = _RANK[Samples] < until[1]
        scans = max(1, int(np.searchsorted(self._times, until[0], side="right" if ties_too else "left")))
        if scans == len(item):
            self._next()
            return item
        self.head, self._times = cut(item, slice(scans, None)), self._times[scans:]
        return cut(item, slice(None, scans))

    def _next(self) -> None:
        self.head = next(self._items, None)
        if self.head is None:
            return
        times = self.head.received_us if isinstance(self.head, Samples) else np.array([self.head.received_us])
        self._times = np.maximum(np.maximum.accumulate(times), self._latest_us)
        self._latest_us = int(self._times[-1])


def _merged(streams: list[_Stream]) -> Iterator[Item]:
    while True:
        streams = [stream for stream in streams if stream.head is not None]
        if not streams:
            return
        first = min(streams, key=lambda stream: stream.key)
        yield first.take(min((stream.key for stream in streams if stream is not first), default=first.end))


def cut(samples: Samples, which: slice | Bools) -> Samples:
    """Some of the scans."""
    return dataclasses.replace(
        samples,
        received_us=samples.received_us[which],
        ticks_us=samples.ticks_us[which],
        sequence=samples.sequence[which],
        status=samples.status[which],
        counts=samples.counts[which],
    )


def read_second_sums(db: sqlite3.Connection, session_id: int, source: str, from_s: int, to_s: int) -> list[SecondSums]:
    """The sums of each second from from_s until before to_s, by second."""
    rows = db.execute(
        "SELECT second, scans, status, sums FROM second_sums WHERE session_id = ? AND second >= ? "
        "AND second < ? AND source_id = (SELECT id FROM sources WHERE name = ?) ORDER BY second, chunk_id",
        (session_id, from_s, to_s, source),
    )
    parts: dict[int, list[SecondSums]] = {}
    for row in rows:
        parts.setdefault(row[0], []).append(SecondSums.from_bytes(*row))
    return [added(found) for found in parts.values()]
