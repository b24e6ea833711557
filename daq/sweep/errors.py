"""What a step's error may be besides what its strokes say: the grid of errors of the n steps and their prior weights. A
step's standard error comes from the strokes within it, and may be wrong by a factor (`scale`). Strokes also cannot show
what differs between visits but not within one: how the rider sat down again, where the hands took hold, how precisely
the saddle was put back. That is a between-step error, one standard deviation for the sweep, added in quadrature.
Repeated visits to one position show it directly; elsewhere the scatter about the fitted curve does.

With 11 steps, a factor and an added error can be told apart only by the size of the sum. So the grid is over that size:
below the stated error it is a factor; above it the excess is between steps. The weight of each size is the joint prior
of both, summed over all pairs that give it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.sweep.marginal import known_scales
from daq.values import Array

RATIO = 1.28
"""Log spacing of the sizes. With 10 steps, the likelihood of a size is about 0.23 wide in its log: this is half of
that."""
SMALLEST = 0.55
"""Of the stated error."""
MOST_BETWEEN_N = 9.0
"""A rider whose visits to one position scatter more is not sitting still."""


@dataclass(frozen=True, eq=False, slots=True)
class Errors:
    """A grid of K hypotheses of the steps' errors."""

    variance: Array
    """(K, n), N^2."""
    factor: Array
    """(K,) on the stated standard errors."""
    between_n: Array
    """(K,) added in quadrature, N."""
    size: Array
    """(K,) total error over the stated one, for the median step."""
    log_prior: Array
    """(K,) up to a constant."""


def error_grid(se_n: Array, *, scale_spread: float, between_n: float, between_tail: float) -> Errors:
    """The grid for these stated errors.

    scale_spread: of log(factor), Student's t with 3 degrees of freedom. between_n, between_tail: scale in N and degrees
    of freedom of the between-step error's half Student's t; a scale of 0: there is no such error.
    """
    if between_n <= 0.0:
        factor, log_prior = known_scales(scale_spread)
        return Errors((factor**2)[:, None] * se_n**2, factor, np.zeros_like(factor), factor, log_prior)
    stated = float(np.median(se_n))
    largest = math.hypot(1.6 * stated, MOST_BETWEEN_N) / stated
    size = np.exp(np.arange(math.log(SMALLEST), math.log(largest) + math.log(RATIO), math.log(RATIO)))
    factor = np.minimum(size, 1.0)
    added_n = stated * np.sqrt(np.maximum(size**2 - 1.0, 0.0))
    weight = _of_size(size, stated, scale_spread, between_n, between_tail)
    variance = (factor**2)[:, None] * se_n**2 + (added_n**2)[:, None]
    return Errors(variance, factor, added_n, size, np.log(weight))


def _of_size(size: Array, stated: float, scale_spread: float, between_n: float, tail: float) -> Array:
    """Joint prior of factor and added error, summed over the pairs that give each size."""
    log_factor = np.linspace(-1.2, 1.6, 57)
    added_n = np.linspace(0.0, MOST_BETWEEN_N, 91)
    of_factor = (1.0 + (log_factor / scale_spread) ** 2 / 3.0) ** -2.0
    of_added = (1.0 + (added_n / between_n) ** 2 / tail) ** (-0.5 * (tail + 1.0))
    whole = 0.5 * np.log(np.exp(2.0 * log_factor)[:, None] + (added_n / stated) ** 2)
    at = np.clip((whole - math.log(SMALLEST)) / math.log(RATIO), 0.0, len(size) - 1.0)
    low = np.minimum(at.astype(int), len(size) - 2)
    joint = of_factor[:, None] * of_added
    weight = np.bincount(low.ravel(), (joint * (1.0 - (at - low))).ravel(), len(size))
    weight += np.bincount(low.ravel() + 1, (joint * (at - low)).ravel(), len(size))
    return np.asarray(np.maximum(weight / weight.sum(), 1e-12), dtype=float)
