"""A stored sweep ridden again: its raw data goes through the same loop as live, to the same steps and answer, bit for
bit."""

from __future__ import annotations

from daq.fit.ridden import Ridden
from daq.keep.again.replay import run
from daq.keep.again.stored import calibration_of, items_of, rig_of
from daq.keep.store import Store
from daq.ride import Ride
from daq.sweep.run import State


def ridden(store: Store, sweep_id: int) -> Ridden | None:
    """One sweep as the decision needs it; None if its raw data lacks its beginning."""
    return followed(store, sweep_id)[0]


def followed(store: Store, sweep_id: int) -> tuple[Ridden | None, State | None]:
    """The same, and the state it is in at the end of its raw data."""
    sweep = store.sweep(sweep_id)
    ride = Ride(rig_of(store.session(sweep.session_id)), calibration_of(store, sweep))
    for _ in run(ride, items_of(store, sweep)):
        pass
    progress = ride.pipeline.progress
    return ride.ridden(sweep_id, sweep.state or "cut off"), None if progress is None else progress.state
