"""A rider's slow sway: stationary first-order processes, independent of how time is cut into blocks."""

from __future__ import annotations

import math
from itertools import accumulate

import numpy as np

from daq.values import Array


class Wander:
    """An Ornstein-Uhlenbeck process on a fixed time grid, driven by standard normals passed in.

    x[i] = r x[i-1] + sd sqrt(1 - r^2) z[i], r = exp(-dt / correlation time): exact at the grid, mean 0.
    """

    def __init__(self, sd: float, correlation_s: float, dt_s: float, first: float) -> None:
        """first: a standard normal, so that the process is stationary from its first value on."""
        self._keep = math.exp(-dt_s / correlation_s)
        self._kick = sd * math.sqrt(1.0 - self._keep**2)
        self._x = sd * first

    def run(self, normals: Array) -> Array:
        """The next values, one for each normal."""
        keep, kick = self._keep, self._kick
        values = list(accumulate(normals.tolist(), lambda x, z: keep * x + kick * z, initial=self._x))
        self._x = values[-1]
        return np.array(values[1:])


class MeanWander:
    """The same process as means over consecutive intervals of equal length: exact, at any length. Over an interval of u
    correlation times, from x at its beginning, the mean and the value at its end are jointly normal; variances and
    covariance by integrating the process (Gillespie 1996, Phys Rev E 54:2084).
    """

    def __init__(self, sd: float, correlation_s: float, stretch_s: float, first: float) -> None:
        """first: a standard normal, so that the process is stationary from its first value on."""
        u = stretch_s / correlation_s
        self._keep = math.exp(-u)
        self._share = -math.expm1(-u) / u
        self._kick = sd * math.sqrt(1.0 - self._keep**2)
        along = sd**2 * self._share * (1.0 - self._keep)
        self._along = along / self._kick if self._kick > 0.0 else 0.0
        mean_variance = 2.0 * sd**2 * (u + math.expm1(-u)) / u**2
        self._own = math.sqrt(max(mean_variance - (sd * self._share) ** 2 - self._along**2, 0.0))
        self._x = sd * first

    def run(self, normals: Array) -> Array:
        """The next means, one for each pair (n, 2) of normals."""
        keep, kick = self._keep, self._kick
        ends = list(accumulate(normals[:, 0].tolist(), lambda x, z: keep * x + kick * z, initial=self._x))
        self._x = ends[-1]
        return np.asarray(self._share * np.array(ends[:-1]) + normals @ np.array([self._along, self._own]))
