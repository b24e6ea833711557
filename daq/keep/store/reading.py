"""Reads a session back in the order in which it was received."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from daq.items import Event, Hello, Item, Notification
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.store import chunks
from daq.keep.store.checksums import COVERED, row_crc
from daq.keep.store.sums import SecondSums, added
from daq.values import Samples, cut

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
    streams = [_points(db, session_id, from_us, to_us, damaged)]
    for source_id, source in db.execute("SELECT id, name FROM sources ORDER BY id").fetchall():
        streams.append(read_samples(db, session_id, (source_id, source), from_us, to_us, damaged))
    yield from merged(streams)


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
        inside = np.flatnonzero((samples.received_us >= from_us) & (samples.received_us < to_us))
        if len(inside) == len(samples):
            yield samples
        elif len(inside):
            in_one_piece = inside[-1] - inside[0] + 1 == len(inside)
            yield cut(samples, slice(inside[0], inside[-1] + 1) if in_one_piece else inside)


def read_chunk(db: sqlite3.Connection, chunk_id: int, source: str) -> Samples:
    """One chunk. Raises StoreDamaged naming it when its bytes are not what was put."""
    columns = (*COVERED["chunks"], "crc")
    values = db.execute(f"SELECT {', '.join(columns)} FROM chunks WHERE id = ?", (chunk_id,)).fetchone()
    if values is None:
        raise StoreError(f"chunk {chunk_id} was re-packed while it was being read: read again")
    row = dict(zip(columns, values, strict=True))
    where = f"chunk {chunk_id} of '{source}' (session {row['session_id']}, {_span(row['first_us'], row['last_us'])})"
    _check(where, "chunks", row)
    try:
        return chunks.decode(row["bytes"], source=source)
    except chunks.BadChunk as error:
        raise StoreDamaged(f"{where} is damaged: {error}; all others can be read") from error


def _points(
    db: sqlite3.Connection,
    session_id: int,
    from_us: int,
    to_us: int,
    damaged: Callable[[StoreDamaged], None] | None,
) -> Iterator[Item]:
    """Hellos, notifications and events of the window, by receipt time."""
    sources = dict(db.execute("SELECT id, name FROM sources"))
    found: list[Item] = []
    for table, made in _POINTS.items():
        columns = ("id", *COVERED[table], "crc")
        rows = db.execute(
            f"SELECT {', '.join(columns)} FROM {table} "
            "WHERE session_id = ? AND received_us >= ? AND received_us < ? ORDER BY id",
            (session_id, from_us, to_us),
        )
        for values in rows.fetchall():
            row = dict(zip(columns, values, strict=True))
            try:
                at_us = row["received_us"]
                _check(f"row {row['id']} of {table} (session {session_id}, {_span(at_us, at_us)})", table, row)
            except StoreDamaged as error:
                if damaged is None:
                    raise
                damaged(error)
                continue
            found.append(made(row, sources.get(row.get("source_id"), "")))
    found.sort(key=point_order)
    return iter(found)


_POINTS: dict[str, Callable[[dict[str, Any], str], Item]] = {
    "hellos": lambda row, source: Hello(row["received_us"], source, json.loads(row["content"])),
    "notifications": lambda row, source: Notification(
        row["received_us"], source, row["characteristic"], row["payload"]
    ),
    "events": lambda row, _: Event(row["received_us"], row["kind"], json.loads(row["content"])),
}


def _check(where: str, table: str, row: dict[str, Any]) -> None:
    found = row_crc(table, row)
    if found != row["crc"]:
        raise StoreDamaged(
            f"{where} is damaged: checksum is {found:08x}, expected {row['crc']:08x}; all others can be read"
        )


def _span(first_us: int, last_us: int) -> str:
    return f"{first_us / 1e6:.3f} s" if first_us == last_us else f"{first_us / 1e6:.3f} to {last_us / 1e6:.3f} s"


def point_order(item: Item) -> tuple[int, int]:
    """What sorts hellos, notifications and events into receipt order."""
    assert not isinstance(item, Samples)
    return item.received_us, _RANK[type(item)]


_END = (END_US, len(_RANK))


class _Stream:
    """One ordered run of items with the receipt time of what comes next, never running backwards."""

    def __init__(self, items: Iterator[Item]) -> None:
        self._items = items
        self._latest_us = BEGIN_US
        self.head: Item | None = None
        self._times = np.empty(0, dtype=np.int64)
        self._next()

    @property
    def key(self) -> tuple[int, int]:
        """What decides whose turn it is; _END when there is nothing more."""
        if self.head is None:
            return _END
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


def merged(ordered: list[Iterator[Item]]) -> Iterator[Item]:
    """Items of several streams by receipt time, Samples cut where something of another stream came between."""
    streams = [_Stream(items) for items in ordered]
    while True:
        streams = [stream for stream in streams if stream.head is not None]
        if not streams:
            return
        first = min(streams, key=lambda stream: stream.key)
        yield first.take(min((stream.key for stream in streams if stream is not first), default=_END))


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
