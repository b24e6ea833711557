"""Which notifications of sensors are lost: their rows are numbered one after the other, so numbers without a row count
them. Where no row follows, only silence is left; what the rig names, and what was computed, then says whether a sensor
was there. Of a session that never had one, nothing is lost.
"""

from __future__ import annotations

import itertools
import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from daq.items import BOARD
from daq.keep.rescue.gap import OF_SENSORS, Gap, received_between
from daq.rig_file import RigError, parse_rig

USUAL_US = 1_000_000
"""From one notification to the next, where a session does not tell."""
LEAST_US = 1_500_000
"""A shorter piece of a gap inside a sweep is the way from one notification to the next."""
BRIEF, LONG = 1.5, 3.0
"""Silences, in usual ones: one row may be missing from a longer one than the first; the second is unusual."""


class Sensor(Enum):
    """Whether a session had a sensor."""

    YES = 1
    PERHAPS = 2
    NO = 3


@dataclass(frozen=True, slots=True)
class _Run:
    """The notifications of a session that are there."""

    first: int
    last: int
    first_us: int
    last_us: int
    usual_us: float


def sensor_gaps(db: sqlite3.Connection, *, tail_lost: bool, pages_lost: bool) -> Iterator[Gap]:
    """Every gap among the notifications, sessions in order.

    tail_lost: whether rows may be lost behind the last one there is. pages_lost: as in `received_between`.
    """
    rows = db.execute("SELECT id, session_id, received_us FROM notifications ORDER BY id").fetchall()
    runs = _runs(rows)
    for a, b in itertools.pairwise(rows):
        if a[1] == b[1] and b[0] - a[0] > 1 and b[2] > a[2]:
            yield Gap(a[1], "", OF_SENSORS, a[2] + 1, b[2] - 1, count=b[0] - a[0] - 1, least_us=LEAST_US)
    if not rows and not tail_lost:
        return
    sessions = _Sessions(db, runs, pages_lost)
    steps = [(0, 0, 0), *rows]
    for a, b in itertools.pairwise(steps):
        if a[1] != b[1] and b[0] - a[0] > 1:
            yield from _of_numbers(sessions, a[1], b[1], b[0] - a[0] - 1)
    if tail_lost:
        yield from _of_silence(sessions, steps[-1][1])


class _Sessions:
    """What is known of each session."""

    def __init__(self, db: sqlite3.Connection, runs: dict[int, _Run], pages_lost: bool) -> None:
        self._db, self.runs = db, runs
        self.ids = [row[0] for row in db.execute("SELECT id FROM sessions ORDER BY id")]
        self.usual_us = float(np.median([run.usual_us for run in runs.values()])) if runs else USUAL_US
        self._pages_lost = pages_lost

    def between(self, session_id: int) -> tuple[int, int] | None:
        """From when until when it received something."""
        return received_between(self._db, session_id, pages_lost=self._pages_lost)

    def sensor(self, session_id: int) -> Sensor:
        """Whether it had a sensor."""
        return Sensor.YES if session_id in self.runs else _sensor_of(self._db, session_id)

    def begin(self, session_id: int) -> Gap | None:
        """What may be missing before its first notification."""
        run, between = self.runs[session_id], self.between(session_id)
        return None if between is None else self._gap(session_id, between[0], run.first_us - 1)

    def end(self, session_id: int) -> Gap | None:
        """What may be missing behind its last notification."""
        run, between = self.runs[session_id], self.between(session_id)
        return None if between is None else self._gap(session_id, run.last_us + 1, between[1])

    def all(self, session_id: int) -> Gap | None:
        """All of it, if it had a sensor."""
        between, sensor = self.between(session_id), self.sensor(session_id)
        if between is None or sensor is Sensor.NO:
            return None
        return replace(self._gap(session_id, *between), doubtful=sensor is Sensor.PERHAPS)

    def _gap(self, session_id: int, from_us: int, to_us: int) -> Gap:
        return Gap(session_id, "", OF_SENSORS, from_us, to_us, least_us=LEAST_US)

    def lasts(self, gap: Gap | None, usual: float) -> bool:
        """Whether a gap is longer than so many usual ones."""
        if gap is None:
            return False
        run = self.runs.get(gap.session_id)
        return gap.to_us - gap.from_us > usual * (run.usual_us if run else self.usual_us)


def _of_numbers(sessions: _Sessions, before: int, after: int, missing: int) -> Iterator[Gap]:
    """Numbers without a row between two sessions: they are of the end of one, the begin of the other, or of sessions
    in between. Where one of those is not there any more, they may have been removed with it."""
    candidates = [sessions.end(before) if before in sessions.runs else None, sessions.begin(after)]
    candidates += [sessions.all(one) for one in sessions.ids if before < one < after]
    removed = len([one for one in sessions.ids if before < one < after]) < after - before - 1
    gaps = [gap for gap in candidates if gap is not None and sessions.lasts(gap, LONG if removed else BRIEF)]
    for gap in gaps:
        yield replace(gap, count=missing, counted=len(gaps) == 1 and not removed, doubtful=removed or gap.doubtful)


def _of_silence(sessions: _Sessions, last: int) -> Iterator[Gap]:
    """No row follows: what is missing of the last session's end, and of the sessions after it."""
    if last in sessions.runs and (gap := sessions.end(last)) is not None and sessions.lasts(gap, LONG):
        yield replace(gap, doubtful=True)
    for one in sessions.ids:
        if one > last and (gap := sessions.all(one)) is not None and sessions.lasts(gap, LONG):
            yield gap


def _runs(rows: list[tuple[int, int, int]]) -> dict[int, _Run]:
    by_session: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for number, session_id, at_us in rows:
        by_session[session_id].append((number, at_us))
    found = {}
    for session_id, ones in by_session.items():
        waits_us = [b[1] - a[1] for a, b in itertools.pairwise(ones) if b[0] - a[0] == 1]
        usual_us = float(np.median(waits_us)) if waits_us else USUAL_US
        times_us = [at_us for _, at_us in ones]
        found[session_id] = _Run(ones[0][0], ones[-1][0], min(times_us), max(times_us), usual_us)
    return found


def _sensor_of(db: sqlite3.Connection, session_id: int) -> Sensor:
    """By its rig file, the answers of its sweeps, and the sources there are."""
    (text,) = db.execute("SELECT rig FROM sessions WHERE id = ?", (session_id,)).fetchone()
    try:
        rig = parse_rig(text)
        named = bool(rig.power or rig.cadence or rig.heart)
    except RigError:
        named, rig = True, None
    if rig is not None and rig.typed is not None and not named:
        return Sensor.NO  # the torque of its answers was typed
    answers = db.execute(
        "SELECT content FROM results JOIN sweeps ON sweeps.id = sweep_id "
        "WHERE session_id = ? AND results.kind = 'onset'",
        (session_id,),
    ).fetchall()
    told = [_torque_measured(json.loads(content)) for (content,) in answers]
    if any(told):
        return Sensor.YES
    (sweeps,) = db.execute("SELECT count(*) FROM sweeps WHERE session_id = ?", (session_id,)).fetchone()
    if told and len(told) >= sweeps and None not in told:
        return Sensor.NO
    others = db.execute("SELECT 1 FROM sources WHERE name != ?", (BOARD,)).fetchone()
    return Sensor.PERHAPS if named or others else Sensor.NO


def _torque_measured(answer: object) -> bool | None:
    """Whether the torque of every step was measured; None if the answer does not say."""
    tests = answer.get("validity") if isinstance(answer, dict) else None
    for one in tests if isinstance(tests, list) else ():
        if isinstance(one, dict) and one.get("test") == "torque":
            return bool(one.get("result") == "passed")
    return None
