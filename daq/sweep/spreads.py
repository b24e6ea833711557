"""How far onsets scatter between days and between sweeps: the grids of standard deviations, and what is believed of
them before any test.

Between days the belief gives way to the tests. Where nobody was tested on a second day it is half-normal, a judgement.
It flattens with every second day, and from GIVES_WAY on the density is 1/(DAY_PRIOR_MM + sd): even in the logarithm of
a large spread, so that a workshop with another spread than ours finds it. It depends on how many second days there are,
never on what they showed. method.md has the figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.values import Array

METHOD = "riders-days-sweeps/2"
"""1 kept the half-normal however many days were tested, on a grid up to 17 mm."""
DAY_SDS_MM = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 9.0, 11.0, 13.5, 17.0, 21.0, 26.0])
SWEEP_SDS_MM = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.5, 7.5])
DAY_PRIOR_MM, SWEEP_PRIOR_MM = 5.0, 2.0
"""Scales of the priors of the two standard deviations. Judgement, no source."""
GIVES_WAY = 3
"""Second days from which on tests speak and the judgement does not."""


@dataclass(frozen=True, eq=False, slots=True)
class SpreadPriors:
    """(D,) and (S,) prior weights of the standard deviations on their grids, each summing to 1."""

    day: Array
    sweep: Array
    name: str
    """Their source, for the reader: 'judgement', or the workshop whose tests they come from."""


@dataclass(frozen=True, slots=True)
class Spreads:
    """Mean squares, mm2: of a day's deviation from a rider's own onset, and of a sweep's from its day's."""

    day_mm2: float
    sweep_mm2: float

    def of_difference_mm2(self, *, same_day: bool) -> float:
        """Between two sweeps of an unchanged rider; a day's deviation is in both of one day, and cancels."""
        return 2.0 * (self.sweep_mm2 + (0.0 if same_day else self.day_mm2))


def scatter_in(day: Array, sweep: Array) -> Spreads:
    """By (D,) and (S,) weights of the standard deviations."""
    return Spreads(float(day @ DAY_SDS_MM**2), float(sweep @ SWEEP_SDS_MM**2))


def judged_priors(second_days: int = 0) -> SpreadPriors:
    """The priors of a workshop without another's. second_days: days beyond each rider's first, of all riders."""
    judged = max(0.0, 1.0 - second_days / GIVES_WAY)
    day = half_normal(DAY_SDS_MM, DAY_PRIOR_MM) ** judged
    flat = (cells(DAY_SDS_MM) / (DAY_PRIOR_MM + DAY_SDS_MM)) ** (1.0 - judged)
    return SpreadPriors(_summing_to_1(day * flat), half_normal(SWEEP_SDS_MM, SWEEP_PRIOR_MM), "judgement")


def half_normal(grid_mm: Array, spread_mm: float) -> Array:
    """Weights of a half-normal on an uneven grid, summing to 1."""
    return _summing_to_1(cells(grid_mm) * np.exp(-0.5 * (grid_mm / spread_mm) ** 2))


def cells(grid: Array) -> Array:
    """How much of the axis each point of an uneven grid stands for."""
    wide = np.gradient(grid)
    wide[0], wide[-1] = 0.5 * (grid[1] - grid[0]), 0.5 * (grid[-1] - grid[-2])
    return np.asarray(wide)


def _summing_to_1(weight: Array) -> Array:
    return np.asarray(weight / weight.sum())


JUDGED = scatter_in(judged_priors().day, judged_priors().sweep)
"""Where nothing was learned."""
