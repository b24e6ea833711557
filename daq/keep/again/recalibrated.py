"""A stored sweep recomputed with another calibration, estimator or step-off. Its stored record is unchanged. Strokes
and steps begin and end as they were ridden; only the loads change.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from daq.items import SWEEP_BEGUN, Event, Item
from daq.keep.again.derived import Derived
from daq.keep.again.recompute import recompute
from daq.keep.again.stored import calibration_of, items_of, rig_of
from daq.keep.store import Store
from daq.measure.calibration import Calibration
from daq.measure.calibration.status import fits_sweep_of
from daq.sweep.onset import METHOD


def calibration_of_sweep(store: Store, sweep_id: int) -> Calibration:
    """The calibration a sweep was ridden with. NotThere if there is no such sweep."""
    return calibration_of(store, store.sweep(sweep_id))


def recompute_again(
    store: Store,
    sweep_id: int,
    *,
    calibration: Calibration | None = None,
    method: str = METHOD,
    step_off_mm: float | None = None,
) -> Derived:
    """A stored sweep with another calibration, estimator or step-off; None keeps what was ridden. Another calibration
    brings its own status: one made more than 12 months before or after the sweep, or a simulated one on a real jig,
    forbids the verdict. The zero taken with the sweep is always used. Raises CalibrationError if it lacks a channel.
    """
    sweep = store.sweep(sweep_id)
    session = store.session(sweep.session_id)
    changes: dict[str, Any] = {}
    if calibration is not None:
        changes["calibration"] = standing_for(calibration, session.started_utc, sweep.from_us, session.simulated)
    return recompute(
        begun_otherwise(items_of(store, sweep), changes, step_off_mm),
        rig_of(session),
        calibration_of(store, sweep),
        method,
        calibration,
    )


def begun_otherwise(items: Iterable[Item], changes: dict[str, Any], step_off_mm: float | None) -> Iterator[Item]:
    """The items of a sweep with its beginning changed; step_off_mm None: as planned."""
    for item in items:
        if isinstance(item, Event) and item.kind == SWEEP_BEGUN:
            content = {**item.content, **changes}
            if step_off_mm is not None:
                content["plan"] = {**content["plan"], "step_off_mm": step_off_mm}
            yield replace(item, content=content)
        else:
            yield item


def standing_for(calibration: Calibration, started_utc: str, from_us: int, simulated: bool) -> dict[str, Any]:
    """The status of a calibration for a sweep that began from_us after its session."""
    begun = datetime.datetime.fromisoformat(started_utc)
    ridden_utc = (begun + datetime.timedelta(microseconds=from_us)).isoformat()
    doubt = ""
    if calibration.simulated and not simulated:
        doubt = f"calibration {calibration.id} was made on a simulated jig, the sweep ridden on a real one"
    elif not simulated and not fits_sweep_of(calibration.made_utc, ridden_utc):
        doubt = f"calibration {calibration.id} of {calibration.made_utc[:10]} is more than 12 months from the sweep"
    return {"id": calibration.id, "allows_verdict": not doubt, "sentence": doubt}
