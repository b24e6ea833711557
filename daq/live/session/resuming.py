"""A sweep that was cut off, by a kill, a power cut or a closed daemon, resumed in the same step."""

from __future__ import annotations

import datetime

from daq.keep.again.cut_off import cut_off
from daq.keep.again.stored import items_of
from daq.keep.store import Store
from daq.keep.store.sessions import SessionRecord, SweepRecord
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.session.storing import Storing
from daq.measure.calibration import Calibration, to_dict
from daq.rig import Rig
from daq.sources.clock import SessionClock

RESUME_WITHIN = datetime.timedelta(hours=1)
"""A rider who has rested longer has to warm up again: that normally makes it another sweep."""


def interrupted(
    store: Store,
    *,
    rig_text: str,
    calibration: Calibration,
    now: datetime.datetime,
    within: datetime.timedelta = RESUME_WITHIN,
) -> SweepRecord | None:
    """The last sweep, if it was cut off less than `within` ago on the same rig and calibration; otherwise None."""
    sweeps = store.sweeps(damaged=lambda _: None)
    if not sweeps or sweeps[-1].to_us is not None:
        return None
    sweep = sweeps[-1]
    session = store.session(sweep.session_id)
    if session.rig != rig_text or store.calibration(sweep.calibration_id) != to_dict(calibration):
        return None
    last = session_start(session) + datetime.timedelta(microseconds=store.last_us(session.id))
    return sweep if now - last < within else None


def left_open(store: Store, now: datetime.datetime) -> str:
    """A sentence about sweeps that were cut off and are not closed yet, and what can be done; empty if there are
    none."""
    found = cut_off(store)
    if not found:
        return ""
    last, ago = found[-1], found[-1].ago(now)
    hours = "" if ago is None else f" {ago.total_seconds() / 3600:.1f} hours ago"
    others = f"; so were {len(found) - 1} before it" if len(found) > 1 else ""
    number = last.sweep.id
    return (
        f"sweep {number} was cut off{hours} and is not closed{others}. foreaft close {number} ends it with what was "
        "ridden; foreaft serve --resume-within HOURS takes it up, on the same rig and calibration"
    )


def session_start(session: SessionRecord) -> datetime.datetime:
    """Wall-clock time of session time 0."""
    return datetime.datetime.fromisoformat(session.started_utc)


def resume(
    store: Store, sweep: SweepRecord, rig: Rig, calibration: Calibration, *, now: datetime.datetime, simulated: bool
) -> Session:
    """The session of an interrupted sweep, resumed: same session time, with its finished steps, paused."""
    record = store.session(sweep.session_id)
    store.end_session(record.id, ended_us=None)
    passed_us = round((now - session_start(record)).total_seconds() * 1e6)
    clock = SessionClock(begin_us=max(passed_us, store.last_us(record.id) + 1))
    rider = Rider(str(sweep.rider["pseudonym"]), sweep.rider["mass_kg"])
    session = Session(rig, calibration, clock, rider, storing=Storing(store, record.id), simulated=simulated)
    session.visit.reopen(store, record.id)
    session.sweep.take_up(sweep.id, items_of(store, sweep))
    return session
