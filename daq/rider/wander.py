"""Slow wanderings of a rider: stationary first-order processes that do not care how time is cut into pieces."""

from __future__ import annotations

import math
from itertools import accumulate

import numpy as np

from daq.values import Array


class Wander:
    """An Ornstein-Uhlenbeck process on a fixed time grid, driven by standard normals handed in.

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
