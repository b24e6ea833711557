"""What is missing of the raw of each sweep, noted in the sweep: an event of daq.items.LOST in its place."""

from __future__ import annotations

import itertools
import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from daq.items import BOARD, lost
from daq.keep.store import writing

LEAST_US = 300_000
"""A shorter piece of a gap inside a sweep is the way from one chunk to the next."""
TIMES_USUAL = 3.0


@dataclass(frozen=True, slots=True)
class Gap:
    """Something missing between two times of a session."""

    session_id: int
    source: str
    what: str
    from_us: int
    to_us: int


def note_gaps(db: sqlite3.Connection, *, pages_lost: bool) -> list[str]:
    """Notes them in the sweeps they lie in; a sentence for each.

    pages_lost: whether whole pages are, so that what was received last may be lost without a trace.
    """
    said = []
    found = sorted((*_of_chunks(db, pages_lost), *_of_notifications(db)), key=lambda gap: (gap.session_id, gap.from_us))
    for gap in found:
        sentence = f"{gap.what} from {gap.from_us / 1e6:.3f} to {gap.to_us / 1e6:.3f} s"
        said.append(f"session {gap.session_id}: {sentence} are lost")
        for from_us, to_us in _within_sweeps(db, gap):
            part = f"{gap.what} from {from_us / 1e6:.3f} to {to_us / 1e6:.3f} s"
            writing.insert(db, gap.session_id, lost(from_us, part, to_us=to_us, source=gap.source, scans=None), b"")
    return said


def _of_chunks(db: sqlite3.Connection, pages_lost: bool) -> Iterator[Gap]:
    rows = db.execute(
        "SELECT session_id, name, chunks.id, first_us, last_us FROM chunks JOIN sources ON sources.id = source_id "
        "ORDER BY chunks.id"
    ).fetchall()
    ids = np.array([row[2] for row in rows], dtype=np.int64)
    streams: dict[tuple[int, str], list[tuple[int, int, int]]] = defaultdict(list)
    for session_id, name, *chunk in rows:
        streams[session_id, name].append((chunk[0], chunk[1], chunk[2]))
    for (session_id, name), chunks in streams.items():
        what = f"scans of '{name}'"
        ways_us = [b[1] - a[2] for a, b in itertools.pairwise(chunks)]
        usual_us = max(50_000.0, TIMES_USUAL * float(np.median(ways_us))) if ways_us else 50_000.0
        for a, b in itertools.pairwise(chunks):
            if b[1] - a[2] > usual_us and _numbers_between(ids, a[0], b[0]) < b[0] - a[0] - 1:
                yield Gap(session_id, name, what, a[2] + 1, b[1] - 1)
        first_us, last_us = chunks[0][1], max(chunk[2] for chunk in chunks)
        begin_us, end_us = _ridden(db, session_id, pages_lost)
        if begin_us is not None and first_us - begin_us > 2 * LEAST_US:
            yield Gap(session_id, name, what, begin_us, first_us - 1)
        if end_us is not None and end_us - last_us > 2 * LEAST_US:
            yield Gap(session_id, name, what, last_us + 1, end_us)
    for (session_id,) in db.execute("SELECT DISTINCT session_id FROM sweeps").fetchall():
        begin_us, end_us = _ridden(db, session_id, pages_lost)
        if (session_id, BOARD) in streams or begin_us is None or end_us is None:
            continue
        if end_us - begin_us > 2 * LEAST_US:
            yield Gap(session_id, BOARD, f"scans of '{BOARD}'", begin_us, end_us)


def _of_notifications(db: sqlite3.Connection) -> Iterator[Gap]:
    rows = db.execute("SELECT session_id, id, received_us FROM notifications ORDER BY id").fetchall()
    for a, b in itertools.pairwise(rows):
        if a[0] == b[0] and b[1] - a[1] > 1 and b[2] > a[2]:
            yield Gap(a[0], "", f"{b[1] - a[1] - 1} notifications of sensors", a[2] + 1, b[2] - 1)


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
        if end_us - begin_us > LEAST_US or (end_us >= begin_us and (begin_us, end_us) == (gap.from_us, gap.to_us)):
            yield begin_us, end_us
