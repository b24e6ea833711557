"""Bias and repeatability of the measured onsets, in the terms of ISO 5725, and the uncertainty of the bias by the GUM.

    bias            mean of the onsets found less the dummy's, which is the accepted reference value (ISO 5725-1 3.8)
    repeatability   standard deviation within a placement of the dummy (ISO 5725-2 7.4)
    between         standard deviation that placing it anew adds

Gap and caliper are read again at each placement, so their errors are part of the spread between placements. The error
common to all placements, in locating the caliper's two ends, shows in no repeat and is added as a known term.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.coverage import Line, half_width
from daq.values import Z_95, Array

HARDLY = 0.01
"""A number of missed intervals is too large if its probability for true 95 % intervals is below this."""


@dataclass(frozen=True, eq=False, slots=True)
class Trueness:
    """Of one proof or many: arrays (...,), mm."""

    bias_mm: Array
    repeatability_mm: Array
    between_mm: Array
    u_mm: Array
    """Standard uncertainty of the bias from the placements' spread."""
    dof: int


def trueness(error_mm: npt.ArrayLike) -> Trueness:
    """From errors (..., p placements, n sweeps each). ValueError for fewer than two of either."""
    errors = np.asarray(error_mm, dtype=float)
    p, n = errors.shape[-2:]
    if p < 2 or n < 2:
        raise ValueError(f"expected two or more placements of two or more sweeps, got {p} of {n}")
    of_placement = errors.mean(axis=-1)
    bias = of_placement.mean(axis=-1)
    within = np.sum((errors - of_placement[..., None]) ** 2, axis=(-2, -1)) / (p * (n - 1))
    among = n * np.sum((of_placement - bias[..., None]) ** 2, axis=-1) / (p - 1)
    return Trueness(
        bias_mm=bias,
        repeatability_mm=np.sqrt(within),
        between_mm=np.sqrt(np.maximum(among - within, 0.0) / n),
        u_mm=np.sqrt(among / (p * n)),
        dof=p - 1,
    )


def budget(found: Trueness, u_datum_mm: float) -> list[tuple[str, Line]]:
    """The lines of the bias' budget (JCGM 100); of one proof."""
    return [
        ("placements of the dummy: gap, caliper, statistics of the sweeps", (float(found.u_mm), found.dof, "normal")),
        ("ends of the caliper's measure, BB and saddle", (u_datum_mm, None, "rectangular")),
    ]


def expanded_mm(found: Trueness, u_datum_mm: float) -> float:
    """Half the 95 % interval of the bias."""
    return half_width([line for _, line in budget(found, u_datum_mm)])


def too_many_missed(missed: int, of: int) -> bool:
    """Whether this many missed 95 % intervals are more than chance (binomial distribution)."""
    from scipy.stats import binom

    return bool(missed > 0 and binom.sf(missed - 1, of, 0.05) < HARDLY)


def interval_held(onset_mm: float, interval_mm: tuple[float, float], truth_mm: float, u_truth_mm: float) -> bool:
    """Whether the truth lies within the interval, which does not know of the truth's own uncertainty."""
    low, high = interval_mm
    half = onset_mm - low if truth_mm < onset_mm else high - onset_mm
    return abs(truth_mm - onset_mm) <= math.hypot(half, Z_95 * u_truth_mm)
