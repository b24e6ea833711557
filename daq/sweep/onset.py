"""The onset of a sweep: the setback where hand load starts to rise as the saddle comes forward, or why there is none.

`onset` is the single entry point, live after every step and offline on stored steps. It is a function: the same steps
give the same answer, bit for bit. METHODS names every estimator, so that a stored sweep can be recomputed with the one
it was answered with, or with another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep import noise
from daq.sweep.belief import WidePriors
from daq.sweep.bend import BEND_LIKELIER, PRIORS, STEEPER_RISES, bend_before, bend_of
from daq.sweep.chances import LOADED_CHANCE
from daq.sweep.classical import by_least_squares
from daq.sweep.evidence import StepEvidence, TooFewPositions, gathered
from daq.sweep.line import line_through
from daq.sweep.step_errors import standard_errors
from daq.sweep.verdict import by_posterior, with_chances
from daq.values import NAN, Onset, StepMean

METHOD = "hinge-posterior/5"
EXPECTS_STEEPER = "hinge-posterior/4"
"""Holds a weak rise a little less likely, and so places one further forward."""
BEND_FIRST = "hinge-posterior/3"
"""Holds an onset a little likelier beforehand than either of the others, and does without torque on every step where
the sensor missed one."""
STROKES_ONLY = "hinge-posterior/2"
"""Assumes that strokes explain all of a step's error, the rider has settled and the saddle is where it was set."""
FALLS_COUNT = "hinge-posterior/1"
"""The posterior of version 2, but a fall of hand load that levels off coming forward is also called an onset."""
LEAST_SQUARES = "least-squares/1"
STEP_OFF_MM = 4.0
PASSED_BY = 1.5
"""Squares about a line, over those about the loads' mean, from which it is not drawn. Judgement, no source."""
_ROUNDING_N2 = 1e-9

__all__ = ["METHOD", "METHODS", "Margin", "TooFewPositions", "fitted_line", "onset", "rise_n_per_mm", "standard_errors"]


@dataclass(frozen=True, slots=True)
class Margin:
    """How far behind the onset the saddle is suggested."""

    step_off_mm: float = STEP_OFF_MM
    """A minimum: however well today's onset is known, neither saddle nor rider is put back as exactly."""
    loaded_chance: float = LOADED_CHANCE
    """The largest accepted probability that the hands already carry more."""


def onset(
    steps: Sequence[StepMean],
    *,
    step_off_mm: float = STEP_OFF_MM,
    loaded_chance: float = LOADED_CHANCE,
    method: str = METHOD,
) -> Onset:
    """The answer from all steps so far.

    The suggested setback is the foremost position where the probability that the hands already carry more is at most
    loaded_chance, at least step_off_mm behind the onset, and never outside the ridden range. TooFewPositions (a
    ValueError) for fewer than 5 distinct setbacks; ValueError for a value that is not finite, or an unknown method.
    """
    if method not in METHODS:
        raise ValueError(f"method: expected one of {', '.join(METHODS)}, got {method}")
    if not (math.isfinite(step_off_mm) and step_off_mm >= 0.0):
        raise ValueError(f"step_off_mm: expected 0 or more millimetres behind the onset, got {step_off_mm:g}")
    if not 0.0 < loaded_chance < 1.0:
        raise ValueError(f"loaded_chance: expected a probability between 0 and 1, got {loaded_chance:g}")
    return METHODS[method](steps, Margin(step_off_mm, loaded_chance))


def fitted_line(steps: Sequence[StepMean], answer: Onset) -> tuple[list[float], list[float]]:
    """Setbacks, mm, and hand loads, N, of the line to draw: front, onset and rear; without an onset, two ends.

    At the middle of the sweep's time and torque, so that drift does not tilt it. Empty where no onset is named and the
    line misses the loads: if the saddle moved one way only, a rise may all be drift, and what is left shows nothing.
    """
    evidence = gathered(steps)
    line = line_through(evidence, answer.onset_mm)
    if answer.onset_mm is None:
        off_n = evidence.hands_n - line.at(evidence.setback_mm)
        if float(off_n @ off_n) > PASSED_BY * len(off_n) * (float(np.var(evidence.hands_n)) + _ROUNDING_N2):
            return [], []
    ends = [evidence.setback_mm.min(), evidence.setback_mm.max()]
    setback_mm = np.array(ends if answer.onset_mm is None else sorted([*ends, answer.onset_mm]))
    return setback_mm.tolist(), line.at(setback_mm).tolist()


def rise_n_per_mm(steps: Sequence[StepMean], answer: Onset) -> float:
    """Hand load per mm forward of a named onset, the number that its reasons tell; NaN without one.

    `answer.slope_n_per_mm` is another thing: what is added there to the slope that was behind the onset already.
    """
    return NAN if answer.onset_mm is None else line_through(gathered(steps), answer.onset_mm).forward_n_per_mm


def _hinge_posterior_5(steps: Sequence[StepMean], margin: Margin) -> Onset:
    return _by_belief(gathered(steps), PRIORS, margin, METHOD)


def _hinge_posterior_4(steps: Sequence[StepMean], margin: Margin) -> Onset:
    return _by_belief(gathered(steps), STEEPER_RISES, margin, EXPECTS_STEEPER)


def _hinge_posterior_3(steps: Sequence[StepMean], margin: Margin) -> Onset:
    return _by_belief(gathered(steps, fill=False), BEND_LIKELIER, margin, BEND_FIRST)


def _by_belief(evidence: StepEvidence, priors: WidePriors, margin: Margin, method: str) -> Onset:
    found = bend_of(evidence, priors)
    answer = by_posterior(evidence, found, step_off_mm=margin.step_off_mm, method=method)
    return with_chances(answer, found, priors, margin.loaded_chance)


def _hinge_posterior_2(steps: Sequence[StepMean], margin: Margin) -> Onset:
    evidence = gathered(steps, noise.levels, fill=False)
    found = bend_before(evidence)
    return by_posterior(evidence, found, step_off_mm=margin.step_off_mm, method=STROKES_ONLY)


def _hinge_posterior_1(steps: Sequence[StepMean], margin: Margin) -> Onset:
    evidence = gathered(steps, noise.levels, fill=False)
    found = bend_before(evidence)
    return by_posterior(evidence, found, step_off_mm=margin.step_off_mm, method=FALLS_COUNT, has_to_rise=False)


def _least_squares_1(steps: Sequence[StepMean], margin: Margin) -> Onset:
    evidence = gathered(steps, noise.levels, fill=False)
    return by_least_squares(evidence, step_off_mm=margin.step_off_mm, method=LEAST_SQUARES)


METHODS: dict[str, Callable[[Sequence[StepMean], Margin], Onset]] = {
    METHOD: _hinge_posterior_5,
    EXPECTS_STEEPER: _hinge_posterior_4,
    BEND_FIRST: _hinge_posterior_3,
    STROKES_ONLY: _hinge_posterior_2,
    FALLS_COUNT: _hinge_posterior_1,
    LEAST_SQUARES: _least_squares_1,
}
"""Every estimator by name and version. One that has answered a stored sweep is never removed."""
