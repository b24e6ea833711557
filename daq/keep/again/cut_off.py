"""Sweeps that were cut off, by a kill, a power cut or a closed daemon: listing them, and closing them for good. How
long ago that was does not matter: what was ridden is in the store, and recomputing it shows how far the sweep had got.
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
    """One that is not closed: what is known before it is resumed or closed."""

    sweep: SweepRecord
    session: SessionRecord
    last_utc: str
    """When data was last received for it, ISO 8601, UTC."""

    def ago(self, now: datetime.datetime) -> datetime.timedelta | None:
        """How long ago that was; None if unknown."""
        return None if self.last_utc == "unknown" else now - datetime.datetime.fromisoformat(self.last_utc)


def cut_off(store: Store) -> list[CutOff]:
    """All sweeps without an end, oldest first. The newest may be in progress in a daemon."""
    found = []
    for sweep in store.sweeps(damaged=lambda _: None):
        if sweep.to_us is None:
            session = store.session(sweep.session_id)
            found.append(CutOff(sweep, session, at_utc(session, _last_us(store, sweep))))
    return found


def close(store: Store, sweep_id: int) -> Ridden | None:
    """Ends a sweep that was cut off where its raw data ends, stores the answer from what was ridden, and returns what
    was ridden: None if nothing can be computed, though the sweep is ended anyway. One that has already ended is left as
    it is.
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
    """The last receipt time of a sweep without an end: before the next sweep of its session, if there is one."""
    later = [
        one.from_us
        for one in store.sweeps(damaged=lambda _: None)
        if one.session_id == sweep.session_id and one.from_us > sweep.from_us
    ]
    return min([store.last_us(sweep.session_id), *(from_us - 1 for from_us in later)])
