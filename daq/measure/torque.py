"""Crank torque from power and cadence, and what torque does to a rider's hand load.

Power moves hand load more than anything else, so every step carries its torque and the effect is estimated per rider.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.values import NAN, Array, Bools, Ints

PRIOR_N_PER_NM = -2.25
PRIOR_SD_N_PER_NM = 0.65
"""Hand load per N m of crank torque lies between -1 and -3.5 for nearly all riders; by the support-budget model, an
assumption. Centre and half of half that width."""


def crank_torque_nm(power_w: float, cadence_rpm: float | None) -> float:
    """Mean torque over the turn, Q = 60 P / (2 pi n), N m; NaN when the cadence is 0 or unknown.

    A standing crank can carry any torque at no power, so 0 rpm says nothing about it.
    """
    if cadence_rpm is None or not cadence_rpm > 0.0:
        return NAN
    return 60.0 * power_w / (2.0 * math.pi * cadence_rpm)


@dataclass(frozen=True, slots=True)
class TorqueEffect:
    """Change of hand load with crank torque, N per N m."""

    n_per_nm: float
    u_n_per_nm: float
    """Standard uncertainty."""
    from_data: float
    """How much of it this rider's own strokes decide, 0 (all prior) to 1."""
    strokes: int


def torque_effect(hands_n: Array, torque_nm: Array, step: Ints) -> TorqueEffect:
    """The effect from strokes (n,) of any number of steps (n,), each step with a level of its own.

    Least squares on departures from the step's mean, whitened by the first-order correlation of the residuals, under
    a normal prior. A torque that is the same in all strokes of a step says nothing and leaves the prior; levels
    differing between steps are never used, because they differ by setback too. NaN strokes are left out.
    """
    known = np.isfinite(hands_n) & np.isfinite(torque_nm)
    y, x = _departures(hands_n[known], step[known]), _departures(torque_nm[known], step[known])
    same = np.diff(step[known]) == 0
    slope, rho = PRIOR_N_PER_NM, 0.0
    for _ in range(5):
        residual = y - slope * x
        rho = _correlation(residual, same)
        yw, xw = (y[1:] - rho * y[:-1])[same], (x[1:] - rho * x[:-1])[same]
        variance = float(np.sum((yw - slope * xw) ** 2)) / max(len(yw) - len(np.unique(step[known])) - 1, 1)
        information = float(np.sum(xw**2)) / variance if variance > 0.0 else 0.0
        prior = PRIOR_SD_N_PER_NM**-2
        seen = float(np.sum(xw * yw)) / variance if variance > 0.0 else 0.0
        slope = (seen + prior * PRIOR_N_PER_NM) / (information + prior)
    return TorqueEffect(slope, (information + prior) ** -0.5, information / (information + prior), int(known.sum()))


def _departures(values: Array, step: Ints) -> Array:
    out = np.array(values, dtype=np.float64)
    for each in np.unique(step):
        out[step == each] -= out[step == each].mean()
    return out


def _correlation(residual: Array, same: Bools) -> float:
    power = float(np.sum(residual**2))
    if power == 0.0 or not same.any():
        return 0.0
    return float(np.clip(np.sum((residual[1:] * residual[:-1])[same]) / power, 0.0, 0.95))
