"""Monte Carlo propagation of distributions (JCGM 101:2008), to cross-check a budget made with the formulas of the GUM.

Random numbers come from the generator handed in: the same generator gives the same answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.uncertainty import CONFIDENCE, FIT, Expanded, Shape, Uncertainty, expanded
from daq.values import Array

FEW_DOF = 30.0
"""With fewer Student's t is visibly wider than the normal distribution; common practice, no source."""
TRIALS = 200_000
"""JCGM 101 7.2 advises 10^4 / (1 - p) and more: 2 10^5 for 95 %."""


@dataclass(frozen=True, slots=True)
class Propagated:
    """What the drawn values say of a quantity, in its unit."""

    mean: float
    standard: float
    symmetric: tuple[float, float]
    """Interval with the same probability outside on either side."""
    shortest: tuple[float, float]
    trials: int


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """A budget at one load, by formulas and by drawing."""

    load_n: float
    by_formula: Expanded
    by_drawing: Propagated
    """Of the error of the load, N."""
    difference_n: float
    """Largest distance between the ends of the two intervals."""
    tolerance_n: float
    """Half a unit in the second digit of the standard uncertainty (JCGM 101 7.9.2)."""

    @property
    def agrees(self) -> bool:
        """The formulas are good enough by JCGM 101 8.1; with few degrees of freedom they often are not quite."""
        return self.difference_n <= self.tolerance_n

    @property
    def why_apart(self) -> str:
        """What most likely parts the two, when they do not agree."""
        if self.by_formula.dof < FEW_DOF:
            return f"only {self.by_formula.dof:.0f} degrees of freedom, take more series"
        low, high = self.by_drawing.symmetric
        if high - low < 2.0 * self.by_formula.expanded_n:
            return (
                "few terms with hard limits rule the budget, and the formulas take their sum for a normal distribution"
            )
        return "a term of few readings spreads wider than its share of the degrees of freedom says, take more series"


def drawn(shape: Shape, standard: float, trials: int, rng: np.random.Generator, *, dof: float | None = None) -> Array:
    """Errors (trials,) about 0 whose distribution has this standard uncertainty (JCGM 101 6.4).

    With finite degrees of freedom: Student's t times the standard uncertainty, which spreads wider than it.
    """
    if dof is not None:
        return np.asarray(standard * rng.standard_t(dof, trials))
    if shape == "rectangular":
        half = math.sqrt(3.0) * standard
        return rng.uniform(-half, half, trials)
    if shape == "triangular":
        half = math.sqrt(6.0) * standard
        return rng.triangular(-half, 0.0, half, trials) if half else np.zeros(trials)
    return rng.normal(0.0, standard, trials)


def summarised(values: Array, *, confidence: float = CONFIDENCE) -> Propagated:
    """Mean, standard uncertainty and coverage intervals of drawn values (JCGM 101 7.6, 7.7).

    Raises ValueError for fewer than 1000 values: no interval can be read off so few.
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
    shapes = {term.name: term.shape for term in uncertainty.terms}
    errors = np.zeros(trials)
    for name, u, dof, _ in uncertainty.at(load_n):
        errors += drawn("normal" if name == FIT else shapes[name], u, trials, rng, dof=dof)
    by_formula, by_drawing = expanded(uncertainty, load_n), summarised(errors)
    low, high = by_drawing.symmetric
    difference = max(abs(-by_formula.expanded_n - low), abs(by_formula.expanded_n - high))
    return CrossCheck(load_n, by_formula, by_drawing, difference, _tolerance(by_formula.standard_n))


def _tolerance(standard: float) -> float:
    """Half of the unit of the second significant digit."""
    return 0.0 if standard == 0.0 else 0.5 * 10.0 ** (math.floor(math.log10(standard)) - 1)
