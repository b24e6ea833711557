"""Reads a session back in the order in which it was received."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from daq.items import Event, Hello, Item, Notification, lost
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.store import chunks
from daq.keep.store.checksums import COVERED, row_crc
from daq.keep.store.rows import sound_rows
from daq.values import Samples, cut

BEGIN_US = -(2**63)
END_US = 2**63 - 1
TOGETHER_BYTES = 2**19
"""Bytes, unpacked, decoded at once: more does not fit a processor's cache."""
_STILL_LISTED = (
    "SELECT 1 FROM chunks NOT INDEXED WHERE +id = ?1 UNION ALL "
    "SELECT 1 FROM chunks INDEXED BY chunks_by_time WHERE session_id > -1 AND +id = ?1"
)
"""Looks for a chunk by its index and by every page of the table, not by the pages above: those may be damaged."""
_RANK = {Hello: 0, Samples: 1, Notification: 2, Event: 3}
"""Order of items with the same receipt time. Never needed with the session's own clock, which repeats no stamp."""


def read_items(
    db: sqlite3.Connection,
    session_id: int,
    from_us: int = BEGIN_US,
    to_us: int = END_US,
    *,
    gaps: bool = False,
) -> Iterator[Item]:
    """Everything received from from_us until before to_us, in receipt order.

    Samples of one source come in the order in which they were stored, split where something else was received in
    between. Damage raises StoreDamaged; with gaps, an event of daq.items.LOST takes its place.
    """
    streams: list[Iterator[Item]] = [points(db, session_id, from_us, to_us, gaps=gaps)]
    for row in sound_rows(db, "sources", damaged=(lambda _: None) if gaps else None):
        streams.append(read_samples(db, session_id, (row["id"], row["name"]), from_us, to_us, gaps=gaps))
    yield from merged(streams)


def read_samples(
    db: sqlite3.Connection,
    session_id: int,
    source: tuple[int, str],
    from_us: int,
    to_us: int,
    *,
    gaps: bool = False,
) -> Iterator[Samples | Event]:
    """The chunks of one source, in the order in which they were stored, cut to the window. source: (id, name)."""
    found = db.execute(  # all of this is in the index, so even a damaged row has its times
        "SELECT id, first_us, last_us FROM chunks INDEXED BY chunks_by_time "
        "WHERE session_id = ? AND source_id = ? AND last_us >= ? AND first_us < ?",
        (session_id, source[0], from_us, to_us),
    ).fetchall()
    waiting: list[chunks.Unpacked] = []
    for chunk_id, first_us, last_us in sorted(found):
        try:
            one = unpacked_chunk(db, chunk_id, source[1])
        except StoreDamaged:
            if not gaps:
                raise
            yield from _inside(waiting, source[1], from_us, to_us)
            waiting = []
            said = f"scans of '{source[1]}' from {first_us / 1e6:.3f} to {last_us / 1e6:.3f} s (chunk {chunk_id})"
            yield lost(max(first_us, from_us), said, to_us=min(last_us, to_us), source=source[1], scans=None)
            continue
        if waiting and not _go_together(waiting, one):
            yield from _inside(waiting, source[1], from_us, to_us)
            waiting = []
        waiting.append(one)
    yield from _inside(waiting, source[1], from_us, to_us)


def _go_together(waiting: list[chunks.Unpacked], one: chunks.Unpacked) -> bool:
    """Whether another chunk can be decoded together with those waiting: same shape, and not too many at once."""
    first, most = waiting[0], TOGETHER_BYTES // (15 + 4 * one.channels)
    return (first.order, first.channels) == (one.order, one.channels) and sum(w.scans for w in waiting) < most


def _inside(waiting: list[chunks.Unpacked], source: str, from_us: int, to_us: int) -> Iterator[Samples]:
    if not waiting:
        return
    samples = chunks.decode_all(waiting, source=source)
    inside = np.flatnonzero((samples.received_us >= from_us) & (samples.received_us < to_us))
    if len(inside) == len(samples):
        yield samples
    elif len(inside):
        in_one_piece = inside[-1] - inside[0] + 1 == len(inside)
        yield cut(samples, slice(inside[0], inside[-1] + 1) if in_one_piece else inside)


def read_chunk(db: sqlite3.Connection, chunk_id: int, source: str) -> Samples:
    """One chunk. Raises StoreDamaged that names it if its bytes are not what was stored."""
    return chunks.decode_all([unpacked_chunk(db, chunk_id, source)], source=source)


def unpacked_chunk(db: sqlite3.Connection, chunk_id: int, source: str) -> chunks.Unpacked:
    """One chunk, its columns still packed. Raises StoreDamaged that names it if its bytes are not what was stored."""
    columns = (*COVERED["chunks"], "crc")
    try:
        values = db.execute(f"SELECT {', '.join(columns)} FROM chunks WHERE id = ?", (chunk_id,)).fetchone()
    except sqlite3.DatabaseError as error:
        raise StoreDamaged(f"chunk {chunk_id} of '{source}' lies on a page that is damaged: {error}") from error
    if values is None and db.execute(_STILL_LISTED, (chunk_id,)).fetchone():
        raise StoreDamaged(f"chunk {chunk_id} of '{source}' cannot be reached: the pages that lead to it are damaged")
    if values is None:
        raise StoreError(f"chunk {chunk_id} was removed while it was being read: read again")
    row = dict(zip(columns, values, strict=True))
    if row_crc("chunks", row) != row["crc"]:
        raise StoreDamaged(f"{_where(chunk_id, source, row)} is damaged: its checksum does not agree")
    try:
        return chunks.unpacked(row["bytes"])
    except chunks.BadChunk as error:
        raise StoreDamaged(f"{_where(chunk_id, source, row)} is damaged: {error}") from error


def _where(chunk_id: int, source: str, row: dict[str, Any]) -> str:
    if not (isinstance(row["first_us"], int) and isinstance(row["last_us"], int)):
        return f"chunk {chunk_id} of '{source}'"
    return f"chunk {chunk_id} of '{source}' (session {row['session_id']}, {_span(row['first_us'], row['last_us'])})"


def points(db: sqlite3.Connection, session_id: int, from_us: int, to_us: int, *, gaps: bool) -> Iterator[Item]:
    """Hellos, notifications and events of the window, by receipt time."""
    sources = {row["id"]: row["name"] for row in sound_rows(db, "sources", damaged=(lambda _: None) if gaps else None)}
    found: list[Item] = []
    for table, made in _POINTS.items():
        damaged: list[StoreDamaged] = []
        window = (session_id, from_us, to_us)
        where = "session_id = ? AND received_us >= ? AND received_us < ?"
        for row in sound_rows(db, table, where, window, damaged=damaged.append if gaps else None):
            found.append(made(row, sources.get(row.get("source_id"), "")))
        found += _gaps(db, table, damaged, window)
    found.sort(key=point_order)
    return iter(found)


def _gaps(db: sqlite3.Connection, table: str, damaged: list[StoreDamaged], window: tuple[int, int, int]) -> list[Item]:
    """Events in place of damaged rows; their receipt times are in the index too."""
    if not damaged:
        return []
    indexed = dict(
        db.execute(
            f"SELECT id, received_us FROM {table} INDEXED BY {table}_by_time "
            "WHERE session_id = ? AND received_us >= ? AND received_us < ?",
            window,
        ).fetchall()
    )
    return [
        lost(
            at_us := indexed.get(error.row_id, window[1]),
            f"{_ONE[table]} at {at_us / 1e6:.3f} s (row {error.row_id})",
            to_us=at_us,
        )
        for error in damaged
    ]


_ONE = {"hellos": "a board's hello", "notifications": "a sensor's notification", "events": "an event"}
_POINTS: dict[str, Callable[[dict[str, Any], str], Item]] = {
    "hellos": lambda row, source: Hello(row["received_us"], source, json.loads(row["content"])),
    "notifications": lambda row, source: Notification(
        row["received_us"], source, row["characteristic"], row["payload"]
    ),
    "events": lambda row, _: Event(row["received_us"], row["kind"], json.loads(row["content"])),
}


def _span(first_us: int, last_us: int) -> str:
    return f"{first_us / 1e6:.3f} s" if first_us == last_us else f"{first_us / 1e6:.3f} to {last_us / 1e6:.3f} s"


def point_order(item: Item) -> tuple[int, int]:
    """The sort key that puts hellos, notifications and events into receipt order."""
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
        """The key that decides whose turn it is; _END if there is nothing more."""
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
    """Items of several streams by receipt time, Samples split where an item of another stream came in between."""
    streams = [_Stream(items) for items in ordered]
    while True:
        streams = [stream for stream in streams if stream.head is not None]
        if not streams:
            return
        first = min(streams, key=lambda stream: stream.key)
        yield first.take(min((stream.key for stream in streams if stream is not first), default=_END))
