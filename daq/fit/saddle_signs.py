"""The signs that a saddle is too far back, each for, against, or not visible, with its number.

A table to weigh, not a sum: one sign is seldom enough, and some cannot be seen by these sensors at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.fit.intake import Feel, Intake
from daq.fit.on_bicycle import Estimate, OnBicycle, saddle_points_m
from daq.fit.ridden import Ridden
from daq.fit.sign import Sign, Stands
from daq.fit.stroke_signs import stroke_signs
from daq.fit.window import SAME_MM, WINDOW_MM, Window
from daq.rig import Rig
from daq.student import quantile
from daq.sweep.comparison import compare
from daq.sweep.spreads import JUDGED, Spreads
from daq.values import StepMean, Verdict

FRONT_LIGHT = 0.40
"""Front-wheel share on the level below which a front wheel is called light. Common practice, no source."""
MUCH, LITTLE = 6, 2
"""Scores of 10 from and up to which a rider's word counts. Common practice, no source."""
APART = 3
"""Points between hamstrings and quadriceps that count. Common practice, no source."""
CREEP_MM_PER_MIN = 2.0
"""A load point that moves forward faster than this within steps is called creeping. Assumption."""


def signs(
    intake: Intake,
    rig: Rig,
    *,
    level: Ridden | None,
    climb: Ridden | None,
    here: OnBicycle | None,
    present_mm: float | None,
    window: Window | None,
    scatter: Spreads = JUDGED,
) -> tuple[Sign, ...]:
    """The table for a saddle at present_mm. level: today's main sweep, on a climb where only climbs were ridden; climb:
    today's on one; here: the bicycle at present_mm in the main sweep; window: the setbacks to choose from, by it;
    scatter: how far sweeps of an unchanged rider lie apart."""
    feel = intake.feel
    top, centres, rough = stroke_signs(level, climb)
    return (
        _hands(level, present_mm, window),
        _front_wheel(level, here, feel),
        _word("Push over the top", feel.over_the_top, "the rider's word"),
        top,
        centres,
        _climbing(level, climb, feel, scatter),
        rough,
        _muscles(feel),
        _creep(level, rig, feel),
    )


def _hands(level: Ridden | None, present_mm: float | None, window: Window | None) -> Sign:
    title = "Hands too light"
    if level is None or level.onset is None or present_mm is None:
        return Sign(title, Stands.NOT_VISIBLE, "", "needs a level sweep and the present setback")
    answer = level.onset
    if answer.verdict is Verdict.LOADED:
        return Sign(title, Stands.AGAINST, f"{present_mm:g} mm", "hands carry weight all through the sweep")
    if answer.onset_mm is None or answer.interval_95_mm is None:
        return Sign(title, Stands.NOT_VISIBLE, "", f"no onset is named: {str(answer.verdict).replace('-', ' ')}")
    low, high = answer.interval_95_mm
    number = f"now {present_mm:g} mm; onset {answer.onset_mm:.1f} mm, 95 % {low:.1f} to {high:.1f} mm"
    behind = present_mm - answer.onset_mm
    if present_mm < low:
        return Sign(title, Stands.AGAINST, number, f"{-behind:.0f} mm forward of the onset: hands already carry more")
    if window is None:
        return Sign(title, Stands.NOT_VISIBLE, number, "no place is suggested to compare it with")
    # The allowance counts as a whole here, ridden or not: hands so near the suggestion are not called too light.
    if present_mm > window[0] + WINDOW_MM + SAME_MM:
        return Sign(title, Stands.FOR, number, f"{behind:.0f} mm behind the onset: hands stay as light further forward")
    if high - low > WINDOW_MM:
        return Sign(title, Stands.NOT_VISIBLE, number, "too close to the window to tell")
    return Sign(title, Stands.AGAINST, number, "no further back than the window to choose from")


def _front_wheel(level: Ridden | None, here: OnBicycle | None, feel: Feel) -> Sign:
    title = "Front wheel light"
    if level is not None and not level.is_level:
        return _word(title, feel.front_light, "only a climb was ridden, which takes load off it; the rider's word")
    share = here.front_share if here is not None else Estimate(None, None, None, "no sweep yet")
    if share.value is None or share.low is None or share.high is None:
        return _word(title, feel.front_light, share.why_not + "; the rider's word")
    number = f"{100 * share.value:.1f} % on the front, 95 % {100 * share.low:.1f} to {100 * share.high:.1f} %"
    limit = f"{100 * FRONT_LIGHT:.0f} %"
    if share.high < FRONT_LIGHT:
        return Sign(title, Stands.FOR, number, f"below {limit}")
    if share.low > FRONT_LIGHT:
        return Sign(title, Stands.AGAINST, number, f"above {limit}")
    return Sign(title, Stands.NOT_VISIBLE, number, f"{limit} lies inside the interval")


def _climbing(level: Ridden | None, climb: Ridden | None, feel: Feel, scatter: Spreads) -> Sign:
    title = "Bottom of the stroke at 4–5 %"
    moved = _moved(level, climb, scatter)
    why = "the rider's word"
    sign = _word(title, feel.choppy_climbing, why if climb is not None else f"no climb was ridden; {why}")
    return Sign(title, sign.stands, "; ".join(filter(None, (moved, sign.number))), sign.why)


def _moved(level: Ridden | None, climb: Ridden | None, scatter: Spreads) -> str:
    """How far the climb's onset lies from the level's; empty unless both name one."""
    if level is None or climb is None or level.named is None or climb.named is None:
        return ""
    if not level.is_level:
        return ""
    found = compare(level.steps, climb.steps, scatter=scatter)
    if found.difference_mm is None or found.interval_95_mm is None:
        return ""
    low, high = found.interval_95_mm
    return (
        f"onset moves {found.difference_mm:+z.0f} mm from level to {climb.plan.gradient_pct:g} %, 95 % {low:+z.0f} to "
        f"{high:+z.0f} mm (positive: further back)"
    )


def _muscles(feel: Feel) -> Sign:
    title = "Hamstrings and calves against quadriceps"
    if feel.hamstrings_calves is None or feel.quadriceps is None:
        return Sign(title, Stands.NOT_VISIBLE, "", "not asked")
    apart = feel.hamstrings_calves - feel.quadriceps
    number = f"{feel.hamstrings_calves} against {feel.quadriceps} of 10"
    if apart >= APART:
        return Sign(title, Stands.FOR, number, "the back of the leg tires first")
    if apart <= -APART:
        return Sign(title, Stands.AGAINST, number, "the front of the leg tires first")
    return Sign(title, Stands.NOT_VISIBLE, number, f"less than {APART} points apart")


def _creep(level: Ridden | None, rig: Rig, feel: Feel) -> Sign:
    title = "Creeps forward on the saddle"
    rates = [] if level is None else [rate for step in level.steps if not math.isnan(rate := _rate(step, rig))]
    if len(rates) < 3:
        return _word(title, feel.creeping_forward, "needs two saddle cells and three steps; the rider's word")
    mean, half = _mean_and_half_width(rates)
    number = f"{mean:+z.1f} mm a minute forward, 95 % {mean - half:+z.1f} to {mean + half:+z.1f} mm a minute"
    if mean - half > CREEP_MM_PER_MIN:
        return Sign(title, Stands.FOR, number, "the load on the saddle wanders forward within steps")
    if mean + half < CREEP_MM_PER_MIN:
        return Sign(title, Stands.AGAINST, number, f"less than {CREEP_MM_PER_MIN:g} mm a minute")
    return Sign(title, Stands.NOT_VISIBLE, number, "the interval is too wide to tell")


def _rate(step: StepMean, rig: Rig) -> float:
    """How fast the saddle's load point moves forward within a step, mm a minute; NaN with too few strokes in which the
    saddle carries anything."""
    points_mm = 1000.0 * saddle_points_m(step, rig)
    known = np.isfinite(points_mm)
    if known.sum() < 10:
        return math.nan
    t_min = np.array([stroke.mid_s for stroke in step.strokes])[known] / 60.0
    return float(np.polyfit(t_min - t_min[0], points_mm[known], 1)[0])


def _mean_and_half_width(values: Sequence[float]) -> tuple[float, float]:
    """Mean and half the 95 % interval, Student's t."""
    x = np.asarray(values)
    return float(x.mean()), float(quantile(0.975, len(x) - 1) * x.std(ddof=1) / math.sqrt(len(x)))


def _word(title: str, score: int | None, why: str) -> Sign:
    """A sign that rests on the rider's word alone."""
    if score is None:
        return Sign(title, Stands.NOT_VISIBLE, "", f"{why}: not asked")
    number = f"rider says {score} of 10"
    if score >= MUCH:
        return Sign(title, Stands.FOR, number, why)
    if score <= LITTLE:
        return Sign(title, Stands.AGAINST, number, why)
    return Sign(title, Stands.NOT_VISIBLE, number, why)
