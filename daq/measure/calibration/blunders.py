"""Blunders among calibration points: kilograms typed as newtons, two weights swapped, one forgotten. The line that
agrees with most points is found first, so that a few wrong ones do not mask themselves. A blunder is only named if
undoing it makes the whole fit far better; otherwise the point is merely called odd, and where loads were reached both
ways only if it is off its own branch as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.branches import LARGEST_HYSTERESIS, off_own_branch
from daq.measure.calibration.fit import FitError, fit_polynomial
from daq.physics import STANDARD_G_M_S2
from daq.values import MAD_TO_SD, Array, Bools, Ints

ODD_OF_SPAN = 0.002
"""A point this far off the line, in spans of the readings, is odd; bent or hysteretic cells stay well below."""
ODD_IN_SD = 6.0
MUCH_BETTER = 25.0
"""Undoing a blunder has to reduce the sum of squared residuals by at least this factor."""
FACTOR_WITHIN = 0.03
MOST_POINTS = 300
"""The search for the line uses pairs of at most this many points."""


@dataclass(frozen=True, slots=True)
class Blunders:
    """What is wrong with the points, by their index. All empty: nothing found."""

    in_kilograms: tuple[int, ...] = ()
    """Loads about 9.8 times too small beside the others."""
    too_heavy: tuple[int, ...] = ()
    """Loads about 9.8 times too large beside the others."""
    swapped: tuple[int, int] | None = None
    odd: tuple[tuple[int, float], ...] = ()
    """(index, load in N the reading fits)."""


def blunders(load_n: Array, reading: Array, order: int, falling: Bools | None = None) -> Blunders:
    """The blunders that can be recognised from the points alone. falling: (n,) which points were reached by removing
    weight, if loads were reached both ways."""
    line = _line_of_most(load_n, reading)
    if line is None:
        return Blunders()
    constant, slope = line
    off = reading - (constant + slope * load_n)
    spread = MAD_TO_SD * float(np.median(np.abs(off)))
    odd = np.flatnonzero(np.abs(off) > max(ODD_OF_SPAN * float(np.ptp(reading)), ODD_IN_SD * spread))
    if not len(odd):
        return Blunders()
    fits_n = (reading - constant) / slope
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = fits_n[odd] / load_n[odd]
    light = odd[np.abs(ratio / STANDARD_G_M_S2 - 1.0) < FACTOR_WITHIN]
    heavy = odd[np.abs(ratio * STANDARD_G_M_S2 - 1.0) < FACTOR_WITHIN]
    in_newtons = load_n.copy()
    in_newtons[light] *= STANDARD_G_M_S2
    in_newtons[heavy] /= STANDARD_G_M_S2
    if len(light) + len(heavy) and _much_better(load_n, in_newtons, reading, order):
        return Blunders(in_kilograms=tuple(light.tolist()), too_heavy=tuple(heavy.tolist()))
    if len(odd) == 2 and load_n[odd[0]] != load_n[odd[1]]:
        exchanged = load_n.copy()
        exchanged[odd] = load_n[odd[::-1]]
        if _much_better(load_n, exchanged, reading, order):
            return Blunders(swapped=(int(odd[0]), int(odd[1])))
    odd = _still_odd(load_n, reading, odd, order, falling)
    return Blunders(odd=tuple((i, float(fits_n[i])) for i in odd.tolist()))


def unit_factor(per_newton: float, expected_per_newton: float) -> float:
    """The factor by which all loads are too small: 9.80665 or its inverse if that explains the slope, otherwise 1. It
    detects kilograms typed as newtons throughout, which no single point shows.
    """
    ratio = per_newton / expected_per_newton
    for factor in (STANDARD_G_M_S2, 1.0 / STANDARD_G_M_S2):
        if abs(ratio / factor - 1.0) < 0.1:
            return factor
    return 1.0


def _still_odd(load_n: Array, reading: Array, odd: Ints, order: int, falling: Bools | None) -> Ints:
    """Points off the curve of this order through the others: a non-linear cell is odd for a line, but not for a
    parabola. Of those that hysteresis could put there, the ones off their own branch."""
    rest, span = np.setdiff1d(np.arange(len(load_n)), odd), float(np.ptp(reading))
    try:
        fit = fit_polynomial(load_n[rest], reading[rest], order)
    except FitError:
        return odd[:0]
    off = np.abs(reading[odd] - fit.at(load_n[odd]))
    beyond = off > max(ODD_OF_SPAN * span, ODD_IN_SD * float(fit.residual_sd))
    if falling is None:
        return odd[beyond]
    too_far = beyond & (off > LARGEST_HYSTERESIS * span)
    near = off_own_branch(load_n, reading, falling, odd[beyond & ~too_far], ODD_OF_SPAN * span)
    return np.union1d(odd[too_far], near)


def _much_better(before: Array, after: Array, reading: Array, order: int) -> bool:
    try:
        was, is_now = (float(fit_polynomial(x, reading, order).ss_residual) for x in (before, after))
    except FitError:
        return False
    return was > MUCH_BETTER * is_now


def _line_of_most(load_n: Array, reading: Array) -> tuple[float, float] | None:
    """Constant and slope of the line through two points that leaves the smallest median distance to all points."""
    some = np.unique(np.linspace(0, len(load_n) - 1, min(len(load_n), MOST_POINTS)).round().astype(int))
    i, j = np.triu_indices(len(some), 1)
    i, j = some[i], some[j]
    apart = load_n[j] != load_n[i]
    i, j = i[apart], j[apart]
    if not len(i):
        return None
    slope = (reading[j] - reading[i]) / (load_n[j] - load_n[i])
    i, slope = i[slope != 0.0], slope[slope != 0.0]
    if not len(i):
        return None
    constant = reading[i] - slope * load_n[i]
    best, least = 0, np.inf
    for first in range(0, len(slope), 1000):
        block = slice(first, first + 1000)
        off = np.abs(reading - constant[block, None] - slope[block, None] * load_n)
        middle = np.quantile(off, 0.5, axis=1)
        if middle.min() < least:
            best, least = first + int(middle.argmin()), float(middle.min())
    return float(constant[best]), float(slope[best])
