"""A stored sweep ridden again: its raw through the same loop as live, to the same steps and answer, bit for bit."""

from __future__ import annotations

from daq.fit.ridden import Ridden
from daq.keep.store import Store
from daq.keep.store.reading import END_US
from daq.measure.calibration import from_dict
from daq.ride import Ride
from daq.rig import parse_rig


def ridden(store: Store, sweep_id: int) -> Ridden | None:
    """One sweep as the decision needs it; None when its raw does not hold its beginning."""
    sweep = store.sweep(sweep_id)
    ride = Ride(parse_rig(store.session(sweep.session_id).rig), from_dict(store.calibration(sweep.calibration_id)))
    for item in store.read_items(sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us):
        ride.feed(item)
    return ride.ridden(sweep_id, sweep.state or "cut off")
