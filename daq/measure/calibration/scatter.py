"""How large errors of unknown size may be: the scatter of readings beside loads whose errors are known, and what series
differ by beside both.

One best value of such a size is often next to nothing when points are few, and then promises too much. Every size
counts here by its probability instead.

That of the scatter is its posterior for the restricted likelihood. The prior is the mean of those that each independent
part of the residuals would have alone, where Jeffreys' is one over the part's variance. Jeffreys' prior for all parts
together, the root of the mean square (Bodnar, Link, Elster 2016, Bayesian Analysis 11:25), goes by the one or two that
are known best: with independent errors of loads and scatter half of theirs, zeros of 4 to 8 loads up and down held in
91 to 92 of 100, and in 94 to 96 by the mean. The geometric mean (Berger, Deely 1988, JASA 83:364) is never narrow
either, but held in 98 to 100 there.

That of a spread between series is the generalised (fiducial) one: the sum of squares over a chi-square, less what the
other errors explain, and never below 0 (Weerahandi 1993, JASA 88:899; for means of laboratories Iyer, Wang and Mathew
2004, JASA 99:1060). Where nothing else is uncertain both lead to Student's t. All sources from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.coverage import CONFIDENCE
from daq.values import Array, Ints

NEGLIGIBLE = 1e-7
"""Sizes less likely than the most likely one by this factor are left out."""


@dataclass(frozen=True, eq=False, slots=True)
class Sizes:
    """Variances (k,) and their probabilities (k,)."""

    variance: Array
    probability: Array
    dof: int

    @property
    def typical(self) -> float:
        """Their harmonic mean: s^2, the mean square of the residuals, where nothing else is uncertain."""
        return 1.0 / float(self.probability @ (1.0 / self.variance))


def scatter(off: Array, design: Array, known: Array, least: float) -> tuple[Sizes, float]:
    """Variance of readings (n,), from `least` on, by what the design (n, p) cannot follow of them, beside errors with
    this covariance (n, n); and the chi-square of that for the least scatter.
    """
    unseen = np.linalg.svd(design)[0][:, np.linalg.matrix_rank(design) :]
    beside, axes = np.linalg.eigh(unseen.T @ known @ unseen)
    beside, squares = np.maximum(beside, 0.0), (axes.T @ (unseen.T @ off)) ** 2
    dof = len(squares)
    low = max(least, float(squares.mean()))
    variance = _grid(max(1e-6 * low, least), 1e10 * max(low, float(beside.max())), dof, 0.5)
    whole = variance[:, None] + beside
    log_p = np.log(variance) + np.log((1.0 / whole).sum(axis=1))
    log_p -= 0.5 * (np.log(whole) + squares / whole).sum(axis=1)
    p = np.exp(log_p - log_p.max())
    likely = p > NEGLIGIBLE
    return Sizes(variance[likely], p[likely] / p[likely].sum(), dof), float((squares / (least + beside)).sum())


@dataclass(frozen=True, eq=False, slots=True)
class MixedErrors:
    """Normal errors of p figures whose variances are (m, p) with probabilities (m,)."""

    probability: Array
    variance: Array
    origin: Ints
    """(m,) which size of the scatter each belongs to."""

    def with_groups(self, square_sum: Array, dof: int, within: Array, acts: Array) -> MixedErrors:
        """With a variance between groups on top, times acts (k, p). For each of k sizes of the scatter: the sum of
        squares (k,) of the groups' figures about their mean, and their variance (k,) without any between them.
        """
        chi_square = _grid(1e-10, 40.0 * (dof + 1.0), dof, 1.0)
        log_p = 0.5 * dof * np.log(chi_square) - 0.5 * chi_square
        p = np.exp(log_p - log_p.max())
        between = np.maximum(square_sum[:, None] / chi_square - within[:, None], 0.0)
        probability = self.probability[:, None] * p
        variance = self.variance[:, None] + (between[:, :, None] * acts[:, None])[self.origin]
        keep = probability > NEGLIGIBLE * probability.max()
        return MixedErrors(probability[keep], variance[keep], np.broadcast_to(self.origin[:, None], keep.shape)[keep])

    def about(self, centres: Array) -> tuple[Array, Array]:
        """Means (p,) of the figures, if centres (k, p) are those for k sizes of the scatter, and the half-widths of
        the symmetric intervals about them that hold the figures with 95 %."""
        probability = self.probability / self.probability.sum()
        centre = centres[self.origin]
        mean = probability @ centre
        found = [
            half_width_of(probability, off, sd)
            for off, sd in zip((centre - mean).T, np.sqrt(self.variance).T, strict=True)
        ]
        return np.asarray(mean), np.array(found)


def half_width_of(probability: Array, centre: Array, sd: Array, confidence: float = CONFIDENCE) -> float:
    """Half-width of the symmetric interval about 0 that a mixture of normal distributions fills to this confidence."""
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    def short(half: float) -> float:
        return float(probability @ (ndtr((half - centre) / sd) - ndtr((-half - centre) / sd))) - confidence

    most = float((np.abs(centre) + ndtri(0.5 + 0.5 * confidence) * sd).max())
    return float(brentq(short, 0.0, 1.001 * most, rtol=1e-6, xtol=1e-9 * most))


def _grid(low: float, high: float, dof: int, step: float) -> Array:
    """Values in equal ratios, at most exp(step), close enough for what so many degrees of freedom tell apart."""
    return np.asarray(np.exp(np.arange(math.log(low), math.log(high), min(step, 2.0 / math.sqrt(dof)))))
