"""Two places ridden alternately: how far the second lies from the first, with its interval, from few visits.

A straight drift over the ride is taken out with the difference. From visits B A B A at equal times that leaves the
weights (1, -3, 3, -1) / 4 for A less B. The scatter of a visit is pooled from what is known of it before, by so many
degrees of freedom, and what the visits themselves leave over; the interval is Student's t with both together: the
posterior of a normal mean whose variance has a scaled inverse chi-square prior (Gelman et al., Bayesian Data Analysis,
3rd ed., 2.6 and 14.2; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.student import quantile
from daq.sweep.plan import BadPlan
from daq.values import NAN

FEWEST_VISITS = 3
"""Fewer cannot tell a drift from a difference."""
TURNS = 2
"""How often each place is ridden."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far a visit lies from another at the same place, standard deviation, and how well that is known."""

    sd: float
    freedom: float


@dataclass(frozen=True, slots=True)
class Paired:
    """The second place less the first."""

    difference: float
    interval_95: tuple[float, float]
    freedom: float
    means: tuple[float, float]
    """Of the visits to the first place and to the second."""

    @property
    def clear(self) -> bool:
        """Whether the interval leaves out nothing at all."""
        return self.interval_95[0] > 0.0 or self.interval_95[1] < 0.0


def by_turns(first_mm: float, second_mm: float) -> tuple[float, ...]:
    """Each place TURNS times, by turns. BadPlan where both are one."""
    if abs(first_mm - second_mm) < LEAST_APART_MM:
        raise BadPlan(
            f"setback_mm: {second_mm:g} mm is where the saddle is today; only another place can be ridden against it"
        )
    return (first_mm, second_mm) * TURNS


LEAST_APART_MM = 2.0
"""Two places nearer than this are one: marks and clamps are not better. Common practice, no source."""


def paired(
    values: Sequence[float], is_second: Sequence[bool], t_min: Sequence[float], before: Scatter
) -> Paired | None:
    """values: one of each visit, in any unit; is_second: whether it was at the second place; t_min: its time.

    None where the visits cannot tell: fewer than FEWEST_VISITS with a value, or one of the places without any.
    """
    y = np.array(values, dtype=float)
    known = np.isfinite(y)
    y, second, t = y[known], np.array(is_second, dtype=float)[known], np.array(t_min, dtype=float)[known]
    if len(y) < FEWEST_VISITS or not 0.0 < second.mean() < 1.0:
        return None
    design = np.column_stack([np.ones(len(y)), second, t - t.mean()])
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    found = np.linalg.lstsq(design, y, rcond=None)[0]
    left = y - design @ found
    freedom = before.freedom + len(y) - design.shape[1]
    variance = (before.freedom * before.sd**2 + float(left @ left)) / freedom
    of_difference = float(np.linalg.inv(design.T @ design)[1, 1])
    half = quantile(0.975, freedom) * math.sqrt(variance * of_difference)
    difference = float(found[1])
    means = float(y[second == 0.0].mean()), float(y[second == 1.0].mean())
    return Paired(difference, (difference - half, difference + half), freedom, means)


def of_steps(se: Sequence[float], between: float, freedom: float) -> Scatter:
    """A visit's scatter from the standard errors of its mean and what visits scatter beyond them."""
    known = np.array([each for each in se if math.isfinite(each)])
    within = float(np.mean(known**2)) if len(known) else NAN
    return Scatter(math.sqrt((0.0 if math.isnan(within) else within) + between**2), freedom)
