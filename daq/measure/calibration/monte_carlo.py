"""Monte Carlo propagation of distributions (JCGM 101:2008), to cross-check a budget made with the formulas of the GUM.

Random numbers come from the generator handed in: the same generator gives the same answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.coverage import CONFIDENCE, Shape
from daq.measure.calibration.uncertainty import Expanded, Uncertainty, expanded
from daq.values import Array

TRIALS = 200_000
"""JCGM 101 7.2 advises 10^4 / (1 - p) and more: 2 10^5 for 95 %."""


@dataclass(frozen=True, slots=True)
class Propagated:
    """Summary of the drawn values of a quantity, in its unit."""

    mean: float
    standard: float
    symmetric: tuple[float, float]
    """Interval with the same probability outside on either side."""
    shortest: tuple[float, float]
    trials: int


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """A budget at one load, by formulas and by Monte Carlo."""

    load_n: float
    by_formula: Expanded
    by_drawing: Propagated
    """Of the error of the load, N."""
    difference_n: float
    """Largest distance between the ends of the two intervals."""
    tolerance_n: float
    """Half a unit in the second digit of the standard uncertainty (JCGM 101 7.9.2), or the sampling error of the
    interval's ends, if larger: with few degrees of freedom they lie far out and are poorly sampled."""

    @property
    def agrees(self) -> bool:
        """The formulas are good enough by JCGM 101 8.1."""
        return self.difference_n <= self.tolerance_n


def drawn(shape: Shape, standard: float, trials: int, rng: np.random.Generator, *, dof: float | None = None) -> Array:
    """Errors (trials,) about 0 whose distribution has this standard uncertainty (JCGM 101 6.4).

    With finite degrees of freedom: Student's t times the standard uncertainty, which spreads wider than it.
    """
    if dof is not None:
        return np.asarray(standard * rng.standard_t(dof, trials))
    if shape == "rectangular":
        half = math.sqrt(3.0) * standard
        return rng.uniform(-half, half, trials)
    if shape == "arc sine":
        return math.sqrt(2.0) * standard * np.sin(rng.uniform(-math.pi, math.pi, trials))
    if shape == "triangular":
        half = math.sqrt(6.0) * standard
        return rng.triangular(-half, 0.0, half, trials) if half else np.zeros(trials)
    return rng.normal(0.0, standard, trials)


def summarised(values: Array, *, confidence: float = CONFIDENCE) -> Propagated:
    """Mean, standard uncertainty and coverage intervals of drawn values (JCGM 101 7.6, 7.7).

    Raises ValueError for fewer than 1000 values: too few for an interval.
    """
    n = len(values)
    if n < 1000:
        raise ValueError(f"expected at least 1000 trials, got {n}")
    ordered = np.sort(values)
    inside = min(round(confidence * n), n - 1)
    first = int(np.argmin(ordered[inside:] - ordered[: n - inside]))
    low, high = np.quantile(ordered, [0.5 - confidence / 2.0, 0.5 + confidence / 2.0])
    return Propagated(
        mean=float(values.mean()),
        standard=float(values.std(ddof=1)),
        symmetric=(float(low), float(high)),
        shortest=(float(ordered[first]), float(ordered[first + inside])),
        trials=n,
    )


def cross_check(
    uncertainty: Uncertainty, load_n: float, rng: np.random.Generator, *, trials: int = TRIALS
) -> CrossCheck:
    """A channel's budget at one load by the formulas of the GUM and by drawing every term from its distribution."""
    errors = np.zeros(trials)
    for term in uncertainty.at(load_n):
        errors += drawn(term.shape, term.absolute_n, trials, rng, dof=term.dof)
    by_formula, by_drawing = expanded(uncertainty, load_n), summarised(errors)
    low, high = by_drawing.symmetric
    difference = max(abs(-by_formula.expanded_n - low), abs(by_formula.expanded_n - high))
    open_by = 4.0 * math.sqrt(CONFIDENCE * (1.0 - CONFIDENCE) / trials) * np.array([-1.0, 1.0])
    left_open = float(np.ptp(np.quantile(np.abs(errors), np.clip(CONFIDENCE + open_by, 0.0, 1.0))))
    return CrossCheck(load_n, by_formula, by_drawing, difference, max(_tolerance(by_formula.standard_n), left_open))


def _tolerance(standard: float) -> float:
    """Half of the unit of the second significant digit."""
    return 0.0 if standard == 0.0 else 0.5 * 10.0 ** (math.floor(math.log10(standard)) - 1)
