"""What a plan costs and gives: minutes, how wide the onset's interval will be, and what cannot be found at all. Before
the first step from riders in general, afterwards from this rider's own scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.bend import bend_of
from daq.sweep.evidence import TooFewPositions, gathered
from daq.sweep.information import Sway, sd_times_slope
from daq.sweep.plan import FEWEST_POSITIONS, MOVING_S, interleaved
from daq.sweep.pooled import pooled
from daq.sweep.typed.scatter import ReadOff, as_read
from daq.values import StepMean
from daq.words import counted

WIDTH_PER_BOUND = 5.0
"""Width of the 95 % interval of a named onset over the bound on its standard deviation, 3.9 if all were normal. Of 24
ranges, minutes and scatters, at 1, 1.5 and 2.5 times the smallest slope, the median width is 4.0 to 5.8 times the bound
in eight of ten (`python -m tests.benchmarks.smallest_rise`)."""
SLOPES_N_PER_MM = (0.2, 0.5, 1.0)
"""Mechanics predicts 0.1 to 0.5 N/mm, more for steep riders. No measurements on riders are published."""
FOUND_AT_N_PER_MM, FOUND_POWER, POWER_GROWS, STEPS_POWER = 0.364, 0.733, 0.060, -0.219
"""The smallest slope of 20 steps with a bound over the range of 0.03 N/mm, and the powers of the bound and of the steps
it grows with. Found by simulation, see `smallest_slope`."""
USUAL_STEPS, USUAL_BOUND_N_PER_MM = 20, 0.03
ENOUGH_STEPS = 26
"""With more, what each of them brings is in the bound alone. Found with the rest."""
MOST_SAID_N_PER_MM = 50.0
"""Far beyond any rider: most onsets have no two steps ahead of them, and the number says nothing. Judgement."""
STEADIER = 0.7
"""The fraction of sway that may remain with steadier power and stiller hands. Judgement, no source."""
WORTH_SAYING = 0.9
"""A change that does not reduce the smallest slope below this fraction of its current value is not offered."""


@dataclass(frozen=True, slots=True)
class Width:
    """How wide the 95 % interval will be if hand load rises this steeply."""

    slope_n_per_mm: float
    width_mm: float | None
    """None: not found; such a rise is named in fewer than half of the sweeps."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the remaining minutes can find, and what would find more."""

    smallest_n_per_mm: float
    """A smaller rise is found in fewer than half of such sweeps."""
    sentence: str
    would_help: tuple[str, ...]


def duration_s(steps: int, settle_s: float, dwell_s: float) -> float:
    """How long a plan takes with the saddle moved by hand."""
    return steps * (MOVING_S + settle_s + dwell_s)


def widths(
    sd_slope_n: float, range_mm: float, steps: int, slopes: tuple[float, ...] = SLOPES_N_PER_MM
) -> tuple[Width, ...]:
    """The interval to expect for each slope with this bound on sd(onset) times slope."""
    smallest = smallest_slope(sd_slope_n, range_mm, steps)
    return tuple(Width(d, None if d < smallest else WIDTH_PER_BOUND * sd_slope_n / d) for d in slopes)


def wander_of(steps: Sequence[StepMean]) -> Sway | None:
    """This rider's own sway from the strokes of the steps ridden so far; None before there are enough strokes.

    The visits' own scatter comes with it once an answer can be computed, and is what is held beforehand until then.
    """
    model = pooled(steps)
    if model is None:
        return None
    hands = model.hands
    if steps[0].readings:
        found: Sway = as_read(steps, hands.sd_n)
    else:
        found = Sway(hands.sd_n * math.sqrt(hands.sway), hands.tau_s)
    try:
        return replace(found, between_n=bend_of(gathered(steps)).between_n)
    except TooFewPositions:
        return found


def steadied(wander: Sway, by: float) -> Sway:
    """The same rider with this fraction of the sway."""
    if isinstance(wander, ReadOff):
        return replace(wander, reading_n=by * wander.reading_n)
    return replace(wander, sway_n=by * wander.sway_n)


def smallest_slope(sd_slope_n: float, range_mm: float, steps: int) -> float:
    """The added slope, N/mm, whose onset is named in half of the sweeps with so many steps and this bound on sd(onset)
    times slope.

    Did the estimator hold all slopes equally likely, a fixed share of the range would be the largest sd(onset) at which
    half are named. Its priors hold a rise below 0.3 N/mm unlikely, a slope behind the bend possible and a scatter of
    2 N from visit to visit likely, all in newtons and millimetres. So the better a sweep, the steeper a rise has to be
    in terms of the bound; and the more steps, the better their own scatter is known. daq/sweep/method.md says how this
    was found.
    """
    bound = sd_slope_n / range_mm / USUAL_BOUND_N_PER_MM
    of_bound = bound ** (FOUND_POWER + POWER_GROWS * math.log(bound))
    of_steps = (min(steps, ENOUGH_STEPS) / USUAL_STEPS) ** STEPS_POWER
    return float(FOUND_AT_N_PER_MM * of_bound * of_steps)


def outlook(
    steps: Sequence[StepMean],
    to_ride_mm: Sequence[float],
    *,
    minutes_left: float,
    dwell_s: float,
    settle_s: float = 6.0,
) -> Outlook | None:
    """What can still be found after the first steps; None while their scatter is not known, or no step is left.

    to_ride_mm: the positions still planned, in their order. The steps so far count as they were ridden.
    """
    wander = wander_of(steps)
    if wander is None or not to_ride_mm:
        return None

    def smallest(own: Sway, positions_mm: Sequence[float], each_s: float) -> float | None:
        return _smallest(steps, positions_mm, own, wander.step_sd_n(dwell_s), each_s, settle_s)

    now = smallest(wander, to_ride_mm, dwell_s)
    if now is None or now > MOST_SAID_N_PER_MM:
        return None
    sentence = (
        f"with this scatter a rise below {now:.2f} N/mm would be found less than half the time in the "
        f"{counted(round(minutes_left), 'minute')} left"
    )
    places_mm = interleaved(sorted({*(step.setback_mm for step in steps), *to_ride_mm}, reverse=True))
    longer_s, steadier = 2.0 * dwell_s, steadied(wander, STEADIER)
    longer_min = math.ceil(len(to_ride_mm) * (longer_s - dwell_s) / 60.0)
    again_min = math.ceil(duration_s(len(places_mm), settle_s, dwell_s) / 60.0)
    tried = (
        (f"dwells of {longer_s:.0f} s, {longer_min} min more,", wander, to_ride_mm, longer_s),
        (f"every place once more, {again_min} min more,", wander, [*to_ride_mm, *places_mm], dwell_s),
        ("a steadier effort: hold the power closer and keep the hands still", steadier, to_ride_mm, dwell_s),
    )
    help_ = []
    for what, own, positions_mm, each_s in tried:
        then = smallest(own, positions_mm, each_s)
        if then is not None and then < WORTH_SAYING * now:
            help_.append(f"{what} would bring it down to {then:.2f} N/mm")
    return Outlook(now, sentence, tuple(help_))


def _smallest(
    steps: Sequence[StepMean],
    to_ride_mm: Sequence[float],
    own: Sway,
    ridden_sd_n: float,
    dwell_s: float,
    settle_s: float,
) -> float | None:
    """With the steps so far, each known to ridden_sd_n, and these positions after them."""
    setback_mm = np.array([*(step.setback_mm for step in steps), *to_ride_mm])
    if len(np.unique(setback_mm)) < FEWEST_POSITIONS:
        return None
    each_min = duration_s(1, settle_s, dwell_s) / 60.0
    t_min = np.append([step.t_min for step in steps], steps[-1].t_min + each_min * np.arange(1, len(to_ride_mm) + 1))
    sd_n = np.repeat([ridden_sd_n, own.step_sd_n(dwell_s)], [len(steps), len(to_ride_mm)])
    bound_n = sd_times_slope(setback_mm, t_min, sd_n)
    return smallest_slope(bound_n, float(np.ptp(setback_mm)), len(setback_mm))
