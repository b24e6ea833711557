"""A simulated jig with weights in place of a rider: cells that are wrong in known ways, for trying a calibration.

A model. Each cell bends, lags, creeps and shows a little of its neighbours' loads; the weights are not quite what is
written on them. All of it is known, so a calibration made here can be held against the truth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from daq.rider.electronics import CELLS, CHANNELS, Electronics
from daq.rider.jig import JigBlock
from daq.values import Array

CREEP_TAU_S = 480.0
"""Most of the creep of a foil cell is over in half an hour; of our own choosing."""


@dataclass(frozen=True, slots=True)
class CellFaults:
    """How one cell is wrong. Fractions; x is the load over the capacity. Sizes of a good class C cell."""

    capacity_n: float
    bend: float
    """Shown too much by capacity bend 4 x (1 - x)."""
    lag: float
    """Falling over rising readings at half load, over the capacity."""
    creep: float
    """Of the load, after a long time."""
    shows: Mapping[str, float] = field(default_factory=dict)
    """Fraction of this cell's load that other cells show."""

    def shown_n(self, load_n: float, *, falling: bool = False) -> float:
        """What the cell shows of a load just put on, N, without creep and its neighbours."""
        x = load_n / self.capacity_n
        curve = 4.0 * x * (1.0 - x)
        return load_n + self.capacity_n * curve * (self.bend + self.lag * (0.5 if falling else -0.5))


FAULTS = {
    "hands_left": CellFaults(500.0, 2e-4, 1e-4, 1.5e-4, {"hands_right": 0.004}),
    "hands_right": CellFaults(500.0, -1e-4, 1.2e-4, 1e-4, {"hands_left": 0.003}),
    "saddle_nose": CellFaults(1000.0, 1.5e-4, 1e-4, -1e-4, {"saddle_rear": 0.006}),
    "saddle_rear": CellFaults(1000.0, -2e-4, 0.8e-4, 1.2e-4, {"saddle_nose": -0.005}),
}


class BenchJig:
    """Weights on a simulated jig, with its state. Put things, then advance."""

    def __init__(
        self,
        rng: np.random.Generator,
        *,
        electronics: Electronics | None = None,
        weights_off: float = 0.0,
        faults: Mapping[str, CellFaults] = FAULTS,
    ) -> None:
        """weights_off: how much heavier all weights are than their marks, as a fraction."""
        self.electronics = electronics or Electronics()
        self.faults = faults
        self._rng = rng
        self._weights_off = weights_off
        self._loads_n = np.zeros(len(CELLS))
        self._falling = np.zeros(len(CELLS), dtype=np.bool_)
        self._crept_n = np.zeros(len(CELLS))
        self._tilt_deg = 0.0
        self._asked_s, self._scans = 0.0, 0

    def put(self, marked_n: Mapping[str, float]) -> None:
        """These weights, by their marks, hang on the cells from now on; none on a cell not named."""
        strange = sorted(set(marked_n) - set(CELLS))
        if strange:
            raise ValueError(f"no cell {', '.join(strange)}; the simulated jig has {', '.join(CELLS)}")
        loads_n = np.array([marked_n.get(cell, 0.0) for cell in CELLS]) * (1.0 + self._weights_off)
        changed = loads_n != self._loads_n
        self._falling = np.where(changed, loads_n < self._loads_n, self._falling)
        self._loads_n = loads_n

    def tilt(self, tilt_deg: float) -> None:
        """Tilt the jig, nose up positive."""
        if not -30.0 <= tilt_deg <= 30.0:
            raise ValueError(f"tilt_deg: expected -30 to 30, got {tilt_deg:g}")
        self._tilt_deg = tilt_deg

    def advance(self, duration_s: float) -> JigBlock:
        """The scans of the next duration_s; none when no scan falls into it."""
        rate_hz = self.electronics.rate_hz
        self._asked_s += duration_s
        n = max(0, int(self._asked_s * rate_hz + 1e-6) - self._scans)
        t_s = np.arange(self._scans, self._scans + n) / rate_hz
        self._scans += n
        shown_n = self._shown(n, 1.0 / rate_hz)
        tilts_deg = np.full(n, self._tilt_deg)
        counts, saturated = self.electronics.read(shown_n, tilts_deg, self._rng.standard_normal((n, len(CHANNELS))))
        none = np.zeros(n)
        return JigBlock(
            t_s=t_s,
            cells_n=np.tile(self._loads_n, (n, 1)),
            tilt_deg=tilts_deg,
            crank_deg=none,
            crank_mark=np.zeros(n, dtype=np.bool_),
            torque_nm=none,
            left_torque_nm=none,
            feet_n=none,
            counts=counts,
            saturated=saturated,
            power=(),
        )

    def _shown(self, n: int, dt_s: float) -> Array:
        """(n, 4) what the cells show, their creep going on."""
        mine = np.array(
            [
                self.faults[cell].shown_n(load_n, falling=bool(falling))
                for cell, load_n, falling in zip(CELLS, self._loads_n.tolist(), self._falling, strict=True)
            ]
        )
        aim_n = self._loads_n * np.array([self.faults[cell].creep for cell in CELLS])
        left = np.exp(-dt_s * np.arange(1, n + 1) / CREEP_TAU_S)[:, None]
        crept_n = aim_n + (self._crept_n - aim_n) * left
        if n:
            self._crept_n = crept_n[-1]
        return np.asarray(mine + crept_n + self._neighbours())

    def _neighbours(self) -> Array:
        """(4,) what the cells show of loads on others."""
        extra = np.zeros(len(CELLS))
        for cell, load_n in zip(CELLS, self._loads_n.tolist(), strict=True):
            for other, part in self.faults[cell].shows.items():
                extra[CELLS.index(other)] += part * load_n
        return extra
