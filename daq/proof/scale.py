"""The jig's setback scale compared with a caliper: offset, slope and backlash, each with its uncertainty.

    caliper = reading + offset + slope_error (reading - middle) + backlash / 2 x (forward 1, back -1)

Coming forward and going back the carriage takes up its play on different sides; half the difference is in every
position that was read on the scale. A caliper measures from the BB to the saddle's reference; the error in locating
these two ends is the same in every reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.coverage import half_width
from daq.setback_scale import SetbackScale
from daq.values import Array, Bools

FEWEST = 3
"""Positions, each reached both ways."""
DATUM_U_MM = 0.1
"""Standard uncertainty of the ends of a caliper's measure, the BB's axis and a mark on the saddle. Assumption."""
CALIPER_WITHIN_MM = 15.0
"""A caliper further from the scale than this is mistyped, or one of the two is not in millimetres. Judgement, no
source."""
SLOPE_WITHIN = 0.2
"""A scale that goes wrong by more than this of the way is not in millimetres. Judgement, no source."""
TERMS = 3


class ScaleError(ValueError):
    """These readings do not calibrate a scale."""


@dataclass(frozen=True, eq=False, slots=True)
class ScaleFit:
    """Of one scale, or of many at once: every array (...,)."""

    middle_mm: float
    offset_mm: Array
    """True minus shown, in the middle."""
    slope_error: Array
    """mm per mm."""
    backlash_mm: Array
    """Forward minus back."""
    scatter_mm: Array
    u_mm: Array
    """(..., 3) standard uncertainties of the three from the scatter."""
    dof: int


def scale_fit(reading_mm: npt.ArrayLike, caliper_mm: npt.ArrayLike, forward: npt.ArrayLike) -> ScaleFit:
    """The least-squares scale of readings (n,) and caliper values (..., n), coming forward or going back (n,).

    ScaleError for fewer than three positions reached both ways.
    """
    reading, caliper, ways = np.asarray(reading_mm, float), np.asarray(caliper_mm, float), np.asarray(forward, bool)
    both = np.intersect1d(reading[ways], reading[~ways])
    if len(both) < FEWEST:
        raise ScaleError(
            f"expected {FEWEST} or more positions of the scale, each reached coming forward and going back, "
            f"got {len(both)}"
        )
    middle = float(reading.mean())
    design = np.column_stack([np.ones(len(reading)), reading - middle, np.where(ways, 0.5, -0.5)])
    off = caliper - reading
    found = off @ np.linalg.pinv(design).T
    dof = len(reading) - TERMS
    scatter = np.sqrt(np.sum((off - found @ design.T) ** 2, axis=-1) / dof)
    u = scatter[..., None] * np.sqrt(np.diagonal(np.linalg.inv(design.T @ design)))
    return ScaleFit(middle, found[..., 0], found[..., 1], found[..., 2], scatter, u, dof)


def calibrated_scale(
    reading_mm: npt.ArrayLike, caliper_mm: npt.ArrayLike, forward: npt.ArrayLike, *, u_datum_mm: float = DATUM_U_MM
) -> SetbackScale:
    """The scale of one jig. ScaleError."""
    fit = scale_fit(reading_mm, caliper_mm, forward)
    if abs(fit.slope_error) > SLOPE_WITHIN:
        raise ScaleError(
            f"scale and caliper differ by {100.0 * fit.slope_error:+z.0f} mm per 100 mm: are both in millimetres?"
        )
    u_offset, u_slope, _ = (float(u) for u in fit.u_mm)
    t = half_width([(1.0, float(fit.dof), "normal")]) / half_width([(1.0, None, "normal")])
    return SetbackScale(
        middle_mm=fit.middle_mm,
        offset_mm=float(fit.offset_mm),
        slope_error=float(fit.slope_error),
        backlash_mm=float(fit.backlash_mm),
        u_offset_mm=math.hypot(t * u_offset, u_datum_mm),
        u_slope=t * u_slope,
        scatter_mm=float(fit.scatter_mm),
    )


def ways_of(positions_mm: Array) -> Bools:
    """Whether each of these positions in turn is reached coming forward; the first as the second."""
    moves = np.diff(positions_mm) < 0.0
    return np.concatenate([moves[:1], moves])
