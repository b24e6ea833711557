"""The plan that tells most about an onset in a given number of minutes: every spacing that fits, in each order that may
name an onset, recorded for as long as the minutes allow. Each is a sketch, so that a form can take it over. Places that
are ridden again belong to all of them: without them, drift and the scatter of visits could only be assumed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from daq.fit.expectation import WORTH_SAYING, duration_s, smallest_slope
from daq.fit.sketch import Sketch, positions_of
from daq.sweep.information import Sway, sd_times_slope
from daq.sweep.order import Order
from daq.sweep.plan import FEWEST_POSITIONS, MOST_POSITIONS
from daq.words import counted

ORDERS: tuple[Order, ...] = ("out and back", "shuffled")
"""One way never names an onset, and adaptive chooses as it goes."""
ENOUGH_PLACES = 9
"""With fewer, a bend is seldom told from a line, however long each is recorded. Of 300 simulated sweeps of 10 minutes
(0.7 N/mm with a sway of 3 N, 1.2 with 5 N) six places name an onset in 0.29 and 0.51, nine in 0.70 and 0.82, eleven in
0.81 and 0.88. Fewer only where the minutes are too few."""
APART_MM = 2.0
"""The closest places: a saddle is set to about 1 mm (common practice, no source). Tried in whole millimetres."""
DWELLS_S = (15.0, 180.0)
"""Shorter, the sway of the rider is not averaged; longer, nobody sits still. Judgement."""
DWELL_S = 5.0
"""Dwells are whole multiples."""


@dataclass(frozen=True, slots=True)
class BestPlan:
    """The most informative plan for these minutes; without positions if they are too few, or the range too short."""

    sentence: str
    positions_mm: tuple[float, ...] = ()
    apart_mm: float | None = None
    order: Order | None = None
    dwell_s: float | None = None


def best_plan(sketch: Sketch, minutes: float, wander: Sway) -> BestPlan:
    """The plan over the sketch's range with the smallest bound. Its order stays unless another brings a difference that
    is worth saying: the client's expectation, or a jig that is slow to move, may be why it was chosen.
    """
    kept = sketch.order if sketch.order in ORDERS else ORDERS[0]

    def cost(tried: Sketch) -> tuple[int, float]:
        too_few = max(0, ENOUGH_PLACES - len(set(positions_of(tried))))
        return too_few, bound_n(tried, wander) / (1.0 if tried.order == kept else WORTH_SAYING)

    if sketch.rear_mm - sketch.front_mm < APART_MM * (FEWEST_POSITIONS - 1):
        return BestPlan(f"the range is too short for {FEWEST_POSITIONS} places {APART_MM:g} mm apart")
    best = min(_fitting(sketch, minutes), key=cost, default=None)
    whole = math.ceil(minutes)
    if best is None:
        return BestPlan(f"{whole} {'minute is' if whole == 1 else 'minutes are'} too few for a sweep")
    positions_mm = positions_of(best)
    smallest = smallest_slope(bound_n(best, wander), best.rear_mm - best.front_mm, len(positions_mm))
    again = len(positions_mm) - len(set(positions_mm))
    sentence = (
        f"best for {counted(whole, 'minute')}: {counted(len(set(positions_mm)), 'place')} {best.apart_mm:g} mm apart, "
        f"{again} of them ridden again, {best.dwell_s:.0f} s each, {best.order}; half of such sweeps find a rise of "
        f"{smallest:.2f} N/mm"
    )
    return BestPlan(sentence, positions_mm, best.apart_mm, best.order, best.dwell_s)


def _fitting(sketch: Sketch, minutes: float) -> Iterator[Sketch]:
    """Every spacing and order, with the longest dwell for which the minutes suffice."""
    range_mm = sketch.rear_mm - sketch.front_mm
    closest_mm = max(APART_MM, math.ceil(range_mm / (MOST_POSITIONS - 1)))
    for apart_mm in np.arange(closest_mm, range_mm / (FEWEST_POSITIONS - 1) + 1e-9).tolist():
        for order in ORDERS:
            again = {"repeat_middle": True, "repeat_first": True}
            tried = sketch.model_copy(update={"apart_mm": apart_mm, "order": order, **again})
            steps = len(positions_of(tried))
            each_s = 60.0 * minutes / steps - duration_s(1, sketch.settle_s, 0.0)
            dwell_s = min(DWELL_S * math.floor(each_s / DWELL_S + 1e-9), DWELLS_S[1])
            if dwell_s >= DWELLS_S[0] and steps <= MOST_POSITIONS:
                yield tried.model_copy(update={"dwell_s": dwell_s})


def bound_n(sketch: Sketch, wander: Sway) -> float:
    """Bound of sd(onset) times the added slope over the whole range of the sketch, N."""
    setback_mm = np.array(positions_of(sketch))
    t_min = np.arange(float(len(setback_mm))) * duration_s(1, sketch.settle_s, sketch.dwell_s) / 60.0
    sd_n = wander.step_sd_n(sketch.dwell_s)
    return sd_times_slope(setback_mm, np.asarray(t_min, dtype=float), sd_n, ends_mm=(sketch.rear_mm, sketch.front_mm))
