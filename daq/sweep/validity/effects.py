"""The size of an effect that should not be there, besides the curve over setback, a steady drift and the effect of
torque. One linear model serves every test of the steps' levels:

    hand load = a + b x + d (x - c)+ + drift t + q (torque - mean) + effect * column + error

with c the bend that was found, priors on drift and q, and the step errors those of their strokes, combined with the
placement error of the saddle. If the steps scatter more about it than their errors say and chance explains, the errors
are widened to match (Birge's ratio; from memory), so a curve that is not quite a hinge raises no alarm.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from daq.student import quantile
from daq.sweep.evidence import LEAST_ERROR_N, TORQUE_N_PER_NM, TORQUE_SPREAD
from daq.values import Array

SIZE = 0.005
"""Fraction of clean sweeps on which one test of a sweep's numbers may fail: ten such tests withhold at most 5 %."""
SUSPICION = 0.1
"""The same if the answer is undecided anyway."""
DRIFT_N_PER_MIN = 0.5
"""Standard deviation of a steady drift: up to 1 N/min occurs, at two spreads."""
NORMAL_95 = 1.6448536269514722
"""Quantile of the normal distribution."""
_NOTHING_LEFT = 1e-10
"""A column reduced below this fraction by projection is indistinguishable from the rest of the model."""
_LEAST_SIGMA_N = 0.3
"""Lower limit for the scatter of steps without stated errors."""


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
    level, slope, added, *_ = _base(levels, None).found.tolist()
    return Curve(level, slope, added, levels.bend_mm)


def errors_of(levels: Levels, curve: Curve) -> tuple[Array, float] | None:
    """Standard error of each step's level, (n,), and its freedom: its strokes' and its place's together, or else the
    scatter about the curve; None where neither tells it."""
    freedom = math.inf if levels.se_n is not None else float(_freedom(levels))
    return None if freedom < 1 else (_base(levels, curve).errors, freedom)


def steadied(levels: Levels, curve: Curve) -> Array:
    """Hand load of each step less drift and torque, N, as the fit tells them."""
    found = _base(levels, curve).found
    return np.asarray(levels.hands_n - _nuisances(levels) @ found[3:])


def effect_of(levels: Levels, curve: Curve, column: Array) -> Effect | None:
    """The effect on hand load of a column, (n,), N per unit of it; None where the steps cannot tell it."""
    return effects_of(levels, curve, column[:, None])[0]


def effects_of(levels: Levels, curve: Curve, columns: Array) -> list[Effect | None]:
    """The effect of each column, (n, k), taken alone.

    Least squares of hand load and columns, both less what the rest of the model explains of them (Frisch & Waugh 1933,
    from memory).
    """
    known = levels.se_n is not None
    base, freedom = _base(levels, curve), _freedom(levels) - 1
    padded = np.zeros((len(base.left), columns.shape[1]))
    padded[: len(columns)] = columns / base.errors[:, None]
    alone = padded - base.basis @ (base.basis.T @ padded)
    weight = np.sum(alone**2, axis=0)
    told = weight > _NOTHING_LEFT * np.sum(padded**2, axis=0)
    safe = np.where(told, weight, 1.0)
    values = (alone.T @ base.left) / safe
    ratios = np.sqrt(np.maximum(float(base.left @ base.left) - values**2 * safe, 0.0) / max(freedom, 1))
    found: list[Effect | None] = []
    by_chance = _by_chance(freedom)
    for value, one, ratio, tells in zip(values.tolist(), safe.tolist(), ratios.tolist(), told, strict=True):
        se = one**-0.5
        if not tells or freedom < (not known):
            found.append(None)
        elif not known:
            found.append(Effect(value, se * ratio, freedom))
        elif ratio <= by_chance:
            found.append(Effect(value, se * max(1.0, ratio), math.inf))
        else:
            found.append(Effect(value, se * ratio, max(freedom, 1)))
    return found


def _by_chance(freedom: int) -> float:
    """Birge's ratio that one in twenty sweeps exceeds whose errors are as stated (Wilson & Hilferty 1931, from memory;
    within 0.3 % from 2 degrees of freedom on). Up to there the scatter says nothing new, and its few degrees of freedom
    would hide an effect of five standard errors.
    """
    part = 2.0 / (9.0 * max(freedom, 1))
    return math.pow(1.0 - part + NORMAL_95 * math.sqrt(part), 1.5)


@dataclass(frozen=True, eq=False, slots=True)
class _Base:
    """The model without effects, in rows of unit error: the steps', and one for each number that is held."""

    basis: Array
    """Orthonormal columns."""
    left: Array
    """What the model does not explain."""
    found: Array
    """Level, slope, added slope, drift, torque, the last two as far as they are there."""
    errors: Array
    """(n,) of the steps."""


def _freedom(levels: Levels) -> int:
    return len(levels.hands_n) - 3 - int(_nuisances(levels).shape[1])


def _nuisances(levels: Levels) -> Array:
    known = [each - each.mean() for each in (levels.minutes, levels.torque_nm) if each is not None]
    return np.column_stack(known) if known else np.empty((len(levels.hands_n), 0))


@functools.lru_cache(maxsize=4)
def _base(levels: Levels, curve: Curve | None) -> _Base:
    """Most tests of one sweep ask for the same one, so the last are kept."""
    x, y, n = levels.forward_mm, levels.hands_n, len(levels.hands_n)
    matrix = np.column_stack([np.ones_like(x), x, np.maximum(x - levels.bend_mm, 0.0), _nuisances(levels)])
    if levels.se_n is not None:
        place_n = 0.0 if curve is None else curve.slope_at(levels.forward_mm) * levels.u_place_mm
        errors = np.maximum(np.hypot(levels.se_n, place_n), LEAST_ERROR_N)
    else:
        left = y - matrix @ np.linalg.lstsq(matrix, y, rcond=None)[0]
        sigma = math.sqrt(float(left @ left) / max(_freedom(levels), 1))
        errors = np.full(n, max(sigma, _LEAST_SIGMA_N))
    errors.flags.writeable = False
    held = [(0.0, DRIFT_N_PER_MIN)] * (levels.minutes is not None)
    held += [(TORQUE_N_PER_NM, TORQUE_SPREAD)] * (levels.torque_nm is not None)
    rows = np.zeros((len(held), matrix.shape[1]))
    for i, (_, sd) in enumerate(held):
        rows[i, 3 + i] = 1.0 / sd
    design = np.vstack([matrix / errors[:, None], rows])
    target = np.append(y / errors, [mean / sd for mean, sd in held])
    u, size, vt = np.linalg.svd(design, full_matrices=False)
    there = size > _NOTHING_LEFT * size[0]
    basis = u[:, there]
    found = vt[there].T @ ((basis.T @ target) / size[there])
    return _Base(basis, target - basis @ (basis.T @ target), found, errors)
