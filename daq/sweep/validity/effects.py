"""How large an effect is that should not be there, beside the curve over setback, a steady drift and the torque's.

One linear model serves every test of the steps' levels:

    hand load = a + b x + d (x - c)+ + drift t + q (torque - mean) + effect * column + error

with c the bend that was found, drift and q held near what is known of them, and the step errors those of their strokes,
joined with where the saddle was really put. Where the steps scatter more about it than their errors say, the errors
are widened by as much (Birge's ratio; from memory), so a curve that is not quite a hinge raises no alarm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.sweep.evidence import LEAST_ERROR_N, TORQUE_N_PER_NM, TORQUE_SPREAD
from daq.values import NAN, Array

SIZE = 0.005
"""Share of clean sweeps on which one test of a sweep's numbers may fail: ten such tests withhold at most 5 %."""
DRIFT_N_PER_MIN = 0.5
"""Standard deviation of a steady drift: up to 1 N/min occurs, at two spreads."""
PLACED_MM = 1.0
"""Standard uncertainty of where the saddle was put, when none is stated. Common practice, no source."""
_ROUNDS = 3
_LEAST_SIGMA_N = 0.3
"""Scatter of steps without errors of their own is not taken as smaller."""


@dataclass(frozen=True, slots=True)
class Effect:
    """One effect with its standard error and the freedom of that."""

    value: float
    se: float
    freedom: float
    """Infinite where the errors are known."""

    @property
    def interval_95(self) -> tuple[float, float]:
        half = quantile(0.975, self.freedom) * self.se
        return self.value - half, self.value + half

    def beyond(self, floor: float, size: float = SIZE) -> bool:
        """Whether it is larger than floor, and than chance makes it in this share of clean sweeps."""
        return abs(self.value) > max(floor, quantile(1.0 - 0.5 * size, self.freedom) * self.se)

    def times(self, factor: float) -> Effect:
        """The same in another unit."""
        return Effect(factor * self.value, abs(factor) * self.se, self.freedom)


def quantile(p: float, freedom: float) -> float:
    """Quantile of Student's t; of the normal distribution where freedom is infinite."""
    from scipy.special import ndtri, stdtrit

    return float(ndtri(p) if math.isinf(freedom) else stdtrit(freedom, p))


@dataclass(frozen=True, eq=False, slots=True)
class Levels:
    """n steps as the model sees them, in the order ridden."""

    forward_mm: Array
    hands_n: Array
    se_n: Array | None
    """None: the scatter about the curve has to tell."""
    u_place_mm: Array
    minutes: Array | None
    torque_nm: Array | None
    bend_mm: float
    """Where the curve bends, forward millimetres."""


@dataclass(frozen=True, eq=False, slots=True)
class Curve:
    """The curve over setback without drift and torque."""

    level_n: float
    slope: float
    added: float
    bend_mm: float

    def at(self, forward_mm: Array) -> Array:
        """Hand load, N."""
        return self.level_n + self.slope * forward_mm + self.added * np.maximum(forward_mm - self.bend_mm, 0.0)

    def slope_at(self, forward_mm: Array) -> Array:
        """N per mm forward."""
        return np.asarray(self.slope + self.added * (forward_mm > self.bend_mm))


def curve_of(levels: Levels) -> Curve:
    """The fitted curve, without any effect."""
    found = _fit(levels, _NO_COLUMN, _known_errors(levels, None)).found
    return Curve(float(found[0]), float(found[1]), float(found[2]), levels.bend_mm)


def errors_of(levels: Levels, curve: Curve) -> tuple[Array, float] | None:
    """Standard error of each step's level, (n,), and its freedom: its strokes' and its place's together, or else the
    scatter about the curve; None where neither tells it."""
    known = _known_errors(levels, curve)
    if known is not None:
        return known, math.inf
    freedom = len(levels.hands_n) - _parameters(levels)
    if freedom < 1:
        return None
    return np.full(len(levels.hands_n), _fit(levels, _NO_COLUMN, None).sigma), float(freedom)


def steadied(levels: Levels, curve: Curve) -> Array:
    """Hand load of each step less drift and torque, N, as the fit tells them."""
    found = _fit(levels, _NO_COLUMN, _known_errors(levels, curve)).found
    return np.asarray(levels.hands_n - _nuisances(levels) @ found[3:])


def effect_of(levels: Levels, curve: Curve, column: Array) -> Effect | None:
    """The effect on hand load of a column, (n,), N per unit of it; None where the steps cannot tell it."""
    errors = _known_errors(levels, curve)
    freedom = len(levels.hands_n) - _parameters(levels) - 1
    if freedom < (errors is None) or not np.ptp(column) > 0.0:
        return None
    fit = _fit(levels, column[:, None], errors)
    value, se = float(fit.found[-1]), float(fit.spread[-1])
    if not (math.isfinite(se) and se > 0.0):
        return None
    if errors is None:
        return Effect(value, se, freedom)
    return Effect(value, se * max(1.0, fit.ratio), math.inf if fit.ratio <= 1.0 else max(freedom, 1))


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    found: Array
    spread: Array
    ratio: float
    """Root mean square of the residuals over the errors."""
    sigma: float
    """Scatter of one step, N, where no errors are known."""


_NO_COLUMN: Array = np.empty((0, 0))


def _parameters(levels: Levels) -> int:
    return 3 + int(_nuisances(levels).shape[1])


def _nuisances(levels: Levels) -> Array:
    known = [each - each.mean() for each in (levels.minutes, levels.torque_nm) if each is not None]
    return np.column_stack(known) if known else np.empty((len(levels.hands_n), 0))


def _known_errors(levels: Levels, curve: Curve | None) -> Array | None:
    if levels.se_n is None:
        return None
    place_n = 0.0 if curve is None else curve.slope_at(levels.forward_mm) * levels.u_place_mm
    return np.maximum(np.hypot(levels.se_n, place_n), LEAST_ERROR_N)


def _fit(levels: Levels, column: Array, errors: Array | None) -> _Fit:
    """Coefficients of level, slope, added slope, drift, torque and the column, drift and torque held near what is known
    of them."""
    x, y = levels.forward_mm, levels.hands_n
    free = (0.0, math.inf)
    held = [free] * 3
    held += [(0.0, DRIFT_N_PER_MIN)] * (levels.minutes is not None)
    held += [(TORQUE_N_PER_NM, TORQUE_SPREAD)] * (levels.torque_nm is not None)
    matrix = np.column_stack([np.ones_like(x), x, np.maximum(x - levels.bend_mm, 0.0), _nuisances(levels)])
    if column is not _NO_COLUMN:
        matrix, held = np.column_stack([matrix, column]), [*held, free]
    freedom = max(len(x) - matrix.shape[1], 1)
    if errors is not None:
        found, spread, left = _ridge(matrix, y, errors, held)
        return _Fit(found, spread, math.sqrt(float(left @ left) / freedom), NAN)
    left = y - matrix @ np.linalg.lstsq(matrix, y, rcond=None)[0]
    sigma = max(math.sqrt(float(left @ left) / freedom), _LEAST_SIGMA_N)
    for _ in range(_ROUNDS):
        found, spread, left = _ridge(matrix, y, np.full(len(x), sigma), held)
        sigma = max(sigma * math.sqrt(float(left @ left) / freedom), _LEAST_SIGMA_N)
    return _Fit(found, spread, 1.0, sigma)


def _ridge(matrix: Array, y: Array, errors: Array, held: list[tuple[float, float]]) -> tuple[Array, Array, Array]:
    means, sds = np.array(held).T
    scaled = matrix / errors[:, None]
    covariance = np.linalg.pinv(scaled.T @ scaled + np.diag(sds**-2.0), hermitian=True)
    found = covariance @ (scaled.T @ (y / errors) + means * sds**-2.0)
    return found, np.sqrt(np.maximum(np.diag(covariance), 0.0)), (y - matrix @ found) / errors
