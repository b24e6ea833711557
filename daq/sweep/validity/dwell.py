"""Whether hand load was still approaching its level while it was averaged. A rider who adapts slowly shows it within
the dwell: hand load goes on changing in the direction of the last move's effect. An equal fall or rise at every
position is another kind of settling, and irrelevant to the onset.
"""

from __future__ import annotations

import math

import numpy as np

from daq.student import quantile
from daq.sweep.validity.effects import SIZE, Effect
from daq.sweep.validity.passes import CHANGES_N, carried_over
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Array, StepMean, Validity

FEWEST_STROKES = 8
FEWEST_STEPS = 6
LEAST_N = 2.0
"""Less within a dwell is not looked at."""


def drift(sweep: Seen) -> Validity:
    """How far hand load went on changing, within a dwell, in the direction of the last move's effect."""
    used = [i for i, step in enumerate(sweep.steps) if len(step.strokes) >= FEWEST_STROKES]
    if len(used) < FEWEST_STEPS:
        return not_made("drift", "drift within the dwells not known: there are no strokes to look at")
    gone_n = np.array([_gone_n(sweep.steps[i]) for i in used])
    along = -carried_over(sweep)[used]
    spread = float(np.sqrt(np.mean(along**2)))
    common = float(gone_n.mean())
    alike = f"alike at all positions it went by {common:+z.1f} N"
    if not spread > CHANGES_N:
        return passed("drift", f"hand load does not change with setback, so no drift can make an onset; {alike}")
    found = _slope(along / spread, gone_n)
    numbers = Number(found.value, "N", found.interval_95)
    said = (
        f"within a dwell hand load kept changing by {found.value:+z.1f} N in the direction of the last move"
        f"{_since(sweep)}"
    )
    if found.value > max(LEAST_N, quantile(1.0 - SIZE, found.freedom) * found.se):
        return failed(
            "drift", f"{said}: it had not reached its level", "settle 60 s at each position, and dwell longer", numbers
        )
    return passed("drift", f"{said}, no more than sway does; {alike}", numbers)


def _since(sweep: Seen) -> str:
    """The time from the move to the strokes."""
    known = [step for step in sweep.steps if step.strokes and not math.isnan(step.moved_min)]
    if not known:
        return ""
    first_s = np.median([step.strokes[0].start_s - 60.0 * step.moved_min for step in known])
    last_s = np.median([step.strokes[-1].end_s - 60.0 * step.moved_min for step in known])
    return f", {first_s:.0f} to {last_s:.0f} s after it"


def _gone_n(step: StepMean) -> float:
    """By how much the straight line through the strokes rises over the dwell."""
    t_s = np.array([stroke.mid_s for stroke in step.strokes])
    hands_n = np.array([stroke.hands_n for stroke in step.strokes])
    t_s = t_s - t_s.mean()
    return float(t_s @ hands_n / (t_s @ t_s) * (step.strokes[-1].end_s - step.strokes[0].start_s))


def _slope(x: Array, y: Array) -> Effect:
    """Least-squares slope, with the standard error from its own scatter, so no model of sway is needed."""
    x, freedom = x - x.mean(), len(x) - 2
    slope = float(x @ y / (x @ x))
    left = y - y.mean() - slope * x
    return Effect(slope, math.sqrt(float(left @ left) / freedom / float(x @ x)), freedom)
