"""How well each step's hand load is known, as pages, sheets and exports state it.

The strokes within the steps say it (`pooled.py`), but not for every rider equally well: in short dwells, sways that
look alike make their means scatter differently. The steps' own scatter about the curve over setback shows the error
itself, whatever the sway, though with few degrees of freedom. So both are combined: the size f of the true error
relative to that of the strokes has an inverse gamma prior, the curve is straight or bent at any position, the added
slope has a normal prior in units of f, and drift and torque are held by the priors of the posterior. Given the curve,
the mean of f^2 is then closed form,

    (FREEDOM + sum of z^2) / (FREEDOM + n - parameters),   z = deviation from the curve / strokes' error,

and it is averaged over the curves. What differs from visit to visit, and shows in no stroke, is then in it too.

The posterior does not use this: it combines both by itself, for each bend (`errors.py`), and would count the scatter
twice. Nor do tests that compare the scatter with the strokes.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np

from daq.sweep.evidence import StepEvidence, TooFewPositions, gathered, stroke_errors
from daq.values import Array, StepMean

FREEDOM = 3.0
"""Weight of the strokes, in degrees of freedom: the size may be off by a third. Chosen by simulation."""
ADDED_N_PER_MM = 2.0
"""Standard deviation of the added slope of a bent curve: wide, because the scatter is of interest and not the bend.
Chosen by simulation."""
BENT = 0.5
"""Probability that the curve is bent. Judgement."""
BENDS_MM = 2.0
"""Spacing of the positions of the bend."""
_NOTHING_LEFT = 1e-9
"""A column reduced below this fraction by projection is indistinguishable from the others."""


def standard_errors(steps: Sequence[StepMean]) -> Array:
    """Standard error of each step's hand load, (n,), N; NaN if neither strokes nor the table give one. Errors of a
    table are stated as given, and so are the strokes' alone before there are positions enough for a curve."""
    if all(step.strokes for step in steps) and np.isfinite([step.hand_load_n for step in steps]).all():
        combined_n = _combined(tuple(steps))
        if combined_n is not None:
            return combined_n.copy()
    return stroke_errors(steps)


@functools.lru_cache(maxsize=4)
def _combined(steps: tuple[StepMean, ...]) -> Array | None:
    """As the estimator sees the steps, so that one whose torque the sensor missed has the error of that as well; None
    without an error or before there are positions enough."""
    try:
        evidence = gathered(steps)
    except TooFewPositions:
        return None
    return None if evidence.se_n is None else evidence.se_n * size_of(evidence)


def size_of(evidence: StepEvidence) -> float:
    """Root of the mean of f^2: 1 if there are no steps to spare. The evidence has standard errors."""
    se_n = np.asarray(evidence.se_n)
    n, k = evidence.covariates.shape
    x = evidence.forward_mm - evidence.forward_mm.mean()
    target = evidence.hands_n - evidence.covariates @ evidence.covariate_means
    columns = np.column_stack([np.ones(n), x, evidence.covariates * evidence.covariate_sds]) / se_n[:, None]
    basis = _basis(np.vstack([columns, np.eye(k, k + 2, 2)]))  # a row of unit error holds each covariate
    freedom = n - float(np.sum(basis[:n] ** 2))
    if freedom < 1.0:
        return 1.0
    bends_mm = np.linspace(x.min(), x.max(), max(int(np.ptp(x) / BENDS_MM), 2) + 1)[1:-1]
    rises = _left(basis, np.maximum(x[:, None] - bends_mm, 0.0) / se_n[:, None], k)
    left = _left(basis, target / se_n, k)
    seen = np.sum(rises**2, axis=0)
    straight = float(left @ left)
    bent = straight - (left @ rises) ** 2 / (seen + ADDED_N_PER_MM**-2)
    sums = FREEDOM + np.append(bent, straight)
    log_prior = np.append(-0.5 * np.log1p(seen * ADDED_N_PER_MM**2) + np.log(BENT / len(seen)), np.log(1.0 - BENT))
    log_weight = log_prior - 0.5 * (FREEDOM + 2.0 + freedom) * np.log(sums)
    weight = np.exp(log_weight - log_weight.max())
    return float(np.sqrt(weight @ sums / weight.sum() / (FREEDOM + freedom)))


def _basis(columns: Array) -> Array:
    """Orthonormal columns of the same span: setback and time that went together count once."""
    u, size, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(u[:, size > _NOTHING_LEFT * size[0]])


def _left(basis: Array, columns: Array, held: int) -> Array:
    """The part of the columns outside the span of the basis, which has `held` more rows than they have."""
    padded = np.concatenate([columns, np.zeros((held, *columns.shape[1:]))])
    return np.asarray(padded - basis @ (basis.T @ padded))
