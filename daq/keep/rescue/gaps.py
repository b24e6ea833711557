"""What is missing of the raw of each sweep, noted in the sweep: an event of daq.items.LOST in its place."""

from __future__ import annotations

import itertools
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Mapping

import numpy as np

from daq.items import BOARD, lost
from daq.keep.rescue.gap import OF_SCANS, Gap
from daq.keep.rescue.index_rows import Listed
from daq.keep.rescue.listed_gaps import chunk_gaps, listed_sensor_gaps
from daq.keep.rescue.sensor_gaps import sensor_gaps
from daq.keep.store import sessions, writing
from daq.rig_file import RigError, parse_rig

LEAST_US = 600_000
"""A shorter silence at the begin or end of what was ridden is none."""
TIMES_USUAL = 3.0


def note_gaps(
    db: sqlite3.Connection, lists: Mapping[str, Listed | None], *, pages_lost: bool, tail_lost: bool
) -> list[str]:
    """Notes them in the sweeps they lie in; a sentence for each.

    lists: by table, every row it had, where its index is whole. For the others: pages_lost, whether whole pages are, so
    that what was received last may be lost without a trace; tail_lost, whether anything is of which it is unknown what
    it was.
    """
    said = []
    found = [*_of_chunks(db, lists.get("chunks"), pages_lost)]
    found += _of_sensors(db, lists.get("notifications"), pages_lost=pages_lost, tail_lost=tail_lost)
    for gap in sorted(found, key=lambda gap: (gap.session_id, gap.from_us)):
        pieces = list(_within_sweeps(db, gap))
        belongs = "" if pieces else "; that belongs to no sweep that is left"
        said.append(f"session {gap.session_id} has lost {gap.said(gap.from_us, gap.to_us)}{belongs}")
        for from_us, to_us in pieces:
            part = gap.said(from_us, to_us)
            writing.insert(db, gap.session_id, lost(from_us, part, to_us=to_us, source=gap.source, scans=None), b"")
    return said + (_note_open_ends(db) if pages_lost else [])


def _note_open_ends(db: sqlite3.Connection) -> list[str]:
    """Of a sweep without an end nothing tells how much followed what is left of it."""
    said: list[str] = []
    noted: dict[int, str] = {}
    for sweep_id, session_id, from_us in db.execute(
        "SELECT id, session_id, max(from_us) OVER (PARTITION BY session_id) FROM sweeps WHERE to_us IS NULL ORDER BY id"
    ).fetchall():
        if session_id not in noted:
            last_us = max(from_us, sessions.last_us(db, session_id))
            noted[session_id] = f"what was received after {last_us / 1e6:.3f} s, if anything was"
            event = lost(last_us + 1, noted[session_id], to_us=last_us + 1, scans=None)
            writing.insert(db, session_id, event, b"")
        said.append(f"sweep {sweep_id} has no end: {noted[session_id]}, is lost")
    return said


def _of_sensors(db: sqlite3.Connection, listed: Listed | None, *, pages_lost: bool, tail_lost: bool) -> Iterator[Gap]:
    if listed is None:
        return sensor_gaps(db, tail_lost=tail_lost, pages_lost=pages_lost)
    return listed_sensor_gaps(listed, {row[0] for row in db.execute("SELECT id FROM notifications")})


def _of_chunks(db: sqlite3.Connection, listed: Listed | None, pages_lost: bool) -> Iterator[Gap]:
    if listed is None:
        return _between_chunks(db, pages_lost)
    sources = dict(db.execute("SELECT id, name FROM sources").fetchall())
    return chunk_gaps(listed, {row[0] for row in db.execute("SELECT id FROM chunks")}, sources)


def _between_chunks(db: sqlite3.Connection, pages_lost: bool) -> Iterator[Gap]:
    rows = db.execute(
        "SELECT session_id, name, chunks.id, first_us, last_us FROM chunks JOIN sources ON sources.id = source_id "
        "ORDER BY chunks.id"
    ).fetchall()
    ids = np.array([row[2] for row in rows], dtype=np.int64)
    streams: dict[tuple[int, str], list[tuple[int, int, int]]] = defaultdict(list)
    for session_id, name, *chunk in rows:
        streams[session_id, name].append((chunk[0], chunk[1], chunk[2]))
    for (session_id, name), chunks in streams.items():
        ways_us = [b[1] - a[2] for a, b in itertools.pairwise(chunks)]
        usual_us = max(50_000.0, TIMES_USUAL * float(np.median(ways_us))) if ways_us else 50_000.0
        for a, b in itertools.pairwise(chunks):
            if b[1] - a[2] > usual_us and _numbers_between(ids, a[0], b[0]) < b[0] - a[0] - 1:
                yield Gap(session_id, name, OF_SCANS, a[2] + 1, b[1] - 1)
        first_us, last_us = chunks[0][1], max(chunk[2] for chunk in chunks)
        begin_us, end_us = _ridden(db, session_id, pages_lost)
        if begin_us is not None and first_us - begin_us > LEAST_US and _is_missing(ids, chunks[0][0] - 1):
            yield Gap(session_id, name, OF_SCANS, begin_us, first_us - 1)
        if end_us is not None and end_us - last_us > LEAST_US and _is_missing(ids, chunks[-1][0] + 1):
            yield Gap(session_id, name, OF_SCANS, last_us + 1, end_us)
    for session_id, rig in db.execute(
        "SELECT id, rig FROM sessions WHERE id IN (SELECT session_id FROM sweeps)"
    ).fetchall():
        begin_us, end_us = _ridden(db, session_id, pages_lost)
        if (session_id, BOARD) in streams or begin_us is None or end_us is None or is_typed(rig):
            continue
        if end_us - begin_us > LEAST_US and _has_room(rows, session_id):
            yield Gap(session_id, BOARD, OF_SCANS, begin_us, end_us)


def _is_missing(ids: np.ndarray, number: int) -> bool:
    """Whether a chunk of this number may have been there, and is not. Numbers begin at 1."""
    return number > 0 and _numbers_between(ids, number - 1, number + 1) == 0


def _has_room(rows: list[tuple[int, str, int, int, int]], session_id: int) -> bool:
    """Whether numbers are missing between the chunks of the sessions before this one and those of the next."""
    before = max((number for session, _, number, *_ in rows if session < session_id), default=0)
    after = min((number for session, _, number, *_ in rows if session > session_id), default=None)
    return after is None or after - before > 1


def is_typed(rig: str) -> bool:
    """Whether a person read the scale: then there are no scans to lose."""
    try:
        return parse_rig(rig).typed is not None
    except RigError:
        return False


def _numbers_between(ids: np.ndarray, low: int, high: int) -> int:
    """How many chunks there are of any source with a number between these two."""
    return int(np.searchsorted(ids, high) - np.searchsorted(ids, low, side="right"))


def _ridden(db: sqlite3.Connection, session_id: int, pages_lost: bool) -> tuple[int | None, int | None]:
    """From the first sweep's begin to the last one's end; not beyond what else was received, unless pages are lost."""
    begin_us, end_us, open_ended = db.execute(
        "SELECT min(from_us), max(to_us), max(to_us IS NULL) FROM sweeps WHERE session_id = ?", (session_id,)
    ).fetchone()
    if begin_us is None:
        return None, None
    latest = [
        db.execute(f"SELECT max(received_us) FROM {table} WHERE session_id = ?", (session_id,)).fetchone()[0] or 0
        for table in ("notifications", "hellos", "events")
    ]
    if open_ended or not pages_lost:
        end_us = max(latest) if end_us is None or open_ended else min(end_us, max(latest))
    return begin_us, end_us


def _within_sweeps(db: sqlite3.Connection, gap: Gap) -> Iterator[tuple[int, int]]:
    """The pieces of a gap that lie in sweeps."""
    for from_us, to_us in db.execute(
        "SELECT from_us, coalesce(to_us, ?) FROM sweeps WHERE session_id = ?", (gap.to_us, gap.session_id)
    ).fetchall():
        begin_us, end_us = max(gap.from_us, from_us + 1), min(gap.to_us, to_us - 1)
        if end_us - begin_us > gap.least_us or (end_us >= begin_us and (begin_us, end_us) == (gap.from_us, gap.to_us)):
            yield begin_us, end_us
