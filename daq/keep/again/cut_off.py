"""Sweeps that were cut off, by a kill, a power cut or a closed daemon: which there are, and closing them for good.

Nothing about it depends on how long ago that was: what was ridden is in the store, and computing it again tells how far
the sweep had come.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from daq.fit.ridden import Ridden
from daq.keep.again.ridden import followed, ridden
from daq.keep.errors import StoreDamaged
from daq.keep.store import Store
from daq.keep.store.sessions import SessionRecord, SweepRecord, at_utc
from daq.sweep.run import ENDED

CUT_OFF = "cut off"
"""The state of a sweep that was closed later, with what was ridden."""


@dataclass(frozen=True, slots=True)
class CutOff:
    """One that is not closed: what can be said of it before it is resumed or closed."""

    sweep: SweepRecord
    session: SessionRecord
    last_utc: str
    """When something of it was last received, ISO 8601, UTC."""

    def ago(self, now: datetime.datetime) -> datetime.timedelta | None:
        """How long ago that was; None when nobody knows."""
        return None if self.last_utc == "unknown" else now - datetime.datetime.fromisoformat(self.last_utc)


def cut_off(store: Store) -> list[CutOff]:
    """All sweeps without an end, oldest first. The newest may be under way in a daemon."""
    found = []
    for sweep in store.sweeps(damaged=lambda _: None):
        if sweep.to_us is None:
            session = store.session(sweep.session_id)
            found.append(CutOff(sweep, session, at_utc(session, _last_us(store, sweep))))
    return found


def close(store: Store, sweep_id: int) -> Ridden | None:
    """Ends a sweep that was cut off where its raw ends, with the answer from what was ridden, which is kept; what was
    ridden. None when nothing can be computed of it; it is ended all the same. One that has ended stays as it is.
    """
    sweep = store.sweep(sweep_id)
    if sweep.to_us is not None and sweep.state is not None:
        return ridden(store, sweep_id)
    store.end_sweep(sweep_id, to_us=_last_us(store, sweep) + 1, state=CUT_OFF)
    try:
        found, state = followed(store, sweep_id)
    except StoreDamaged:
        return None
    if state in ENDED:
        store.end_sweep(sweep_id, to_us=_last_us(store, sweep) + 1, state=str(state))
    if found is not None and found.onset is not None:
        store.put_result(sweep_id, kind="onset", method=found.onset.method, content=found.onset)
    return found


def _last_us(store: Store, sweep: SweepRecord) -> int:
    """The last receipt of a sweep without an end: before the next sweep of its session, if there is one."""
    later = [
        one.from_us
        for one in store.sweeps(damaged=lambda _: None)
        if one.session_id == sweep.session_id and one.from_us > sweep.from_us
    ]
    return min([store.last_us(sweep.session_id), *(from_us - 1 for from_us in later)])
