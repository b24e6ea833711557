"""Torque over the turn of the crank.

One leg: tau = Q/2 [1 + 1.75 cos(a - 92) + 0.62 cos 2(a - 97) + 0.06 cos 4(a - 20)], a in degrees from the top. An
assumption whose peak near 90 degrees follows Kautz et al. 1991. Both legs, half a turn apart: the odd term cancels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.values import Array, Bools

SECOND, SECOND_AT_DEG = 0.62, 97.0
FOURTH, FOURTH_AT_DEG = 0.06, 20.0
FIRST, FIRST_AT_DEG = 1.75, 92.0
TURN_RAD = 2.0 * np.pi


def one_leg_ripple(crank_deg: Array) -> Array:
    """The part of one leg's torque that cancels with the other leg's."""
    return np.asarray(FIRST * np.cos(np.radians(crank_deg - FIRST_AT_DEG)))


def both_legs_ripple(crank_deg: Array) -> Array:
    """Torque of both legs over its mean, minus 1."""
    second = SECOND * np.cos(2.0 * np.radians(crank_deg - SECOND_AT_DEG))
    return np.asarray(second + FOURTH * np.cos(4.0 * np.radians(crank_deg - FOURTH_AT_DEG)))


@dataclass(frozen=True, eq=False, slots=True)
class TurnedCrank:
    """n scans of a turning crank."""

    crank_deg: Array
    """Angle from the top."""
    mark: Bools
    """The first scan after each top."""
    mean_nm: Array
    ripple_nm: Array
    """Torque of the moment over its mean over the turn."""
    one_leg_nm: Array
    """One leg's excess over its half, times two; the other leg has the opposite."""
    since_top_s: Array
    work_at_top_j: Array
    """Work done since the ride began, at the last top; for scans with a mark."""


class SimulatedCrank:
    """The turning crank, with its memory; independent of how time is cut into blocks."""

    def __init__(self, dt_s: float) -> None:
        self._dt_s = dt_s
        self._turns = 0.0
        self._work_j = 0.0
        self._scatter = 0.0

    def run(self, cadence_rpm: Array, mean_nm: Array, scatter: Array, *, phase_deg: float, depth: float) -> TurnedCrank:
        """The next scans. scatter (n,): the ripple's deviation from depth, redrawn at each top of the stroke. phase_deg
        moves the torque later in the turn, depth multiplies its ripple.
        """
        hertz = cadence_rpm / 60.0
        turns = np.cumsum(np.concatenate([[self._turns], hertz * self._dt_s]))
        mark = np.floor(turns[1:]) > np.floor(turns[:-1])
        crank_deg = 360.0 * (turns[1:] - np.floor(turns[1:]))
        since = np.maximum.accumulate(np.concatenate([[0], np.where(mark, np.arange(1, len(turns)), 0)]))[1:]
        scatters = np.concatenate([[self._scatter], scatter])[since]
        ripple_nm = mean_nm * (depth + scatters) * both_legs_ripple(crank_deg - phase_deg)
        one_leg_nm = mean_nm * one_leg_ripple(crank_deg - phase_deg)
        power_w = (mean_nm + ripple_nm) * TURN_RAD * hertz
        work_j = np.cumsum(np.concatenate([[self._work_j], power_w * self._dt_s]))
        self._turns, self._work_j = float(turns[-1]), float(work_j[-1])
        if len(scatters):
            self._scatter = float(scatters[-1])
        into = np.divide(turns[1:] - np.floor(turns[1:]), hertz, out=np.zeros_like(hertz), where=hertz > 0.0)
        return TurnedCrank(crank_deg, mark, mean_nm, ripple_nm, one_leg_nm, into, work_j[1:] - power_w * into)
