"""What the hands' force along the jig was in stored sweeps, ridden on jigs with cells that measure it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from daq.jig import levers_of
from daq.keep.again.ridden import ridden
from daq.keep.again.stored import rig_of
from daq.keep.store import Store
from daq.measure.weight_line import along_n


def hands_along(store: Store, sweep_ids: Sequence[int]) -> tuple[list[list[float]], bool]:
    """Its mean at each position, N, by rider, and whether the riders were simulated. Sweeps that belong to no client
    count as one rider's: nobody said whose they are. ValueError for a sweep that does not tell, and for simulated
    riders among real ones.
    """
    by_rider: dict[int | None, list[float]] = {}
    simulated = set()
    for sweep_id in dict.fromkeys(sweep_ids):
        sweep = store.sweep(sweep_id)
        session = store.session(sweep.session_id)
        simulated.add(session.simulated)
        by_rider.setdefault(sweep.client_id, []).extend(_of_sweep(store, sweep_id))
    if len(simulated) > 1:
        raise ValueError("some of these riders are simulated and some real: name the sweeps of one kind")
    return list(by_rider.values()), simulated == {True}


def _of_sweep(store: Store, sweep_id: int) -> list[float]:
    columns = levers_of(rig_of(store.session(store.sweep(sweep_id).session_id))).hands_tangential
    if not columns:
        raise ValueError(f"sweep {sweep_id}: its jig has no channel with role 'hands tangential'")
    found = ridden(store, sweep_id)
    means_n = [] if found is None else [along_n(step, columns) for step in found.steps if step.strokes]
    known = [mean_n for mean_n in means_n if mean_n is not None and math.isfinite(mean_n)]
    if not known:
        raise ValueError(f"sweep {sweep_id}: no position has a force of the hands along the jig; are cells calibrated?")
    return known
