"""Whether the bar went with the saddle as the protocol says, from what was really set at every position."""

from __future__ import annotations

import numpy as np

from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Array, Validity

KINK_MM = 5.0
"""A bar this far off the straight line over setback bends the hand load by itself. Judgement, no source."""
DRIFTED = 0.2
"""Millimetres of reach for each millimetre of setback that may differ from what the protocol says."""
PROTOCOLS = {"reach kept": 0.0, "bar fixed": 1.0}


def reach(sweep: Seen) -> Validity:
    """Saddle to bar along the jig, and saddle to bar in height, over setback."""
    settings = [step.setting for step in sweep.steps]
    bar_x_mm = np.array([setting.bar_x_mm for setting in settings])
    if not np.isfinite(bar_x_mm).all():
        return _not_confirmed(sweep)
    reach_mm = bar_x_mm + sweep.setback_mm
    drop_mm = np.array([setting.bar_y_mm for setting in settings])
    slope, off_mm = _line(sweep.setback_mm, reach_mm)
    drop_off_mm = _line(sweep.setback_mm, drop_mm)[1] if np.isfinite(drop_mm).all() else 0.0
    worst_mm = max(off_mm, drop_off_mm)
    number = Number(worst_mm, "mm")
    if worst_mm > KINK_MM:
        which = "height" if drop_off_mm > off_mm else "reach"
        return failed(
            "reach",
            f"the bar's {which} did not follow the saddle evenly: {worst_mm:.0f} mm off a straight line at one "
            "position, which bends the hand load by itself",
            "set the bar right at every position and ride these again",
            number,
        )
    wanted = PROTOCOLS.get(sweep.conditions.protocol)
    said = f"reach changed by {slope * float(np.ptp(sweep.setback_mm)):+.0f} mm over the sweep, evenly"
    if wanted is not None and abs(slope - wanted) > DRIFTED:
        return failed(
            "reach",
            f"{said}, which is not '{sweep.conditions.protocol}'",
            "take the answer for the reach as it was set, or ride the sweep again as planned",
            number,
            forbids=False,
        )
    return passed("reach", said, number)


def _not_confirmed(sweep: Seen) -> Validity:
    """Nobody said where the bar stood. One that stayed is told where there is no verdict: it halves a rise (mechanics
    of a model rider), and the weight line hardly shows it."""
    kept = sweep.conditions.protocol == "reach kept" and not sweep.conditions.dummy
    if kept and not sweep.decided and sweep.rise_suspected:
        return failed(
            "reach",
            "reach not confirmed: had the bar stayed while the saddle moved, hand load would rise about half as much",
            "see that the bar goes along with the saddle, and confirm it at each position",
            forbids=False,
        )
    means = "reach not confirmed: where the bar stood is taken from the plan"
    return not_made("reach", means, "confirm the bar at each position")


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope of the straight line, and how far the worst point is off it."""
    slope, level = np.polyfit(x - x.mean(), y, 1)
    return float(slope), float(np.abs(y - level - slope * (x - x.mean())).max())
