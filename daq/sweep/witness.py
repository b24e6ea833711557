"""What the saddle's load says of the place of the bend: a witness beside the hands.

Weight that comes onto the hands leaves saddle or feet, or comes from a body that leans further; either way the
saddle's load bends at the same setback, by an amount and sign nobody knows beforehand. What makes it worth hearing is
sway: it moves hands and saddle together, so with the part that goes along with the hands taken off,

    w = saddle - gamma hands,   gamma from the strokes within steps,

the errors of w have nothing to do with those of the hands, and often are much smaller. Given the breakpoint, hands and
w are two independent readings, and their probabilities multiply.

The witness may place a bend but not make one: saddles have shapes of their own. Its probability is therefore divided by
its own mean over all places, and with even odds it has nothing to say at all. The foot load is the weight less both
others, so it holds nothing new. Curvature of w along setback is a free nuisance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.sweep.marginal import Marginal, known_scales
from daq.values import Array

SPEAKS = 0.5
"""Probability that the witness bends at all where the hands do."""
LEVEL_N = 300.0
SLOPE_N_PER_MM = 5.0
CURVATURE_N = 10.0
"""Standard deviation of what curvature alone adds at the ends of the sweep: the saddle's lever about the BB changes."""
BENDS_N_PER_MM = (0.3, 1.2)
COVARIATE_FACTOR = 2.0
"""The witness' drift and torque effect, against the spread of those of the hands."""
SCALE_SPREAD = 0.35
SHIFTED, SHIFT_N = 0.25, 20.0


@dataclass(frozen=True, eq=False, slots=True)
class Witness:
    """Readings of the witness at the n steps, N, and their standard errors; errors independent of the hands'."""

    y: Array
    se: Array
    covariate_sds: Array
    """(k,) prior standard deviations for the covariates of the hands, means 0."""


def log_places(x: Array, witness: Witness, covariates: Array, rises: Array) -> Array:
    """log of how much likelier each breakpoint is for the witness than a breakpoint anywhere, (L, C).

    rises: (L, n, C) what a bend of 1 N/mm at each of C breakpoints adds to each step, of L kinds of rider: (x - c)+ of
    one who has arrived.
    """
    y = witness.y - witness.y.mean()
    half = max(float(np.ptp(x)) / 2.0, 1e-9)
    ones = np.ones(len(x))
    design = np.column_stack(
        [LEVEL_N * ones, SLOPE_N_PER_MM * x, CURVATURE_N * (x / half) ** 2, covariates * witness.covariate_sds]
    )
    scale, scale_weight = known_scales(SCALE_SPREAD)
    seen = Marginal(y, witness.se, scale, [design], shifted=SHIFTED, shift_n=SHIFT_N)
    straight = seen.evidence[:, 0] + scale_weight[:, None]
    kinds, n, places = rises.shape
    bends = seen.with_bend(np.moveaxis(rises, 0, 1).reshape(n, -1), BENDS_N_PER_MM)[:, 0]
    bends = (bends + scale_weight[:, None, None]).reshape(*straight.shape, kinds, places)
    top = np.maximum(bends.max(axis=(0, 1, 3)), straight.max())[:, None]
    found = SPEAKS * np.exp(bends - top).sum(axis=(0, 1))
    found += (1.0 - SPEAKS) * np.exp(straight[..., None, None] - top).sum(axis=(0, 1))
    return np.asarray(np.log(found) - np.log(found.mean(axis=1, keepdims=True)))
