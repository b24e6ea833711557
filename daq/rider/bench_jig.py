"""A simulated jig with weights in place of a rider: cells with known faults, for trying a calibration. A model. Each
cell is slightly non-linear, has hysteresis and creep, and shows a little of its neighbours' loads; the weights differ
slightly from their marks. All of this is known, so a calibration made here can be compared with the truth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from daq.rider.electronics import CELLS, CHANNELS, Electronics
from daq.rider.jig import JigBlock
from daq.values import Array

CREEP_TAU_S = 480.0
"""Most of a foil cell's creep is over in half an hour; our own choice."""


@dataclass(frozen=True, slots=True)
class CellErrors:
    """The errors of one cell. Fractions; x is the load over the capacity. Values of a good class C cell."""

    capacity_n: float
    bend: float
    """Excess reading: capacity * bend * 4 x (1 - x)."""
    lag: float
    """Falling minus rising reading half-way down from the highest load, over that load."""
    creep: float
    """Of the load, after a long time."""
    shows: Mapping[str, float] = field(default_factory=dict)
    """Fraction of this cell's load that other cells show."""

    def shown_n(self, load_n: float, highest_n: float = 0.0) -> float:
        """What the cell shows for a load, N, without creep and neighbours. highest_n: the highest load since it was
        empty; the hysteresis loop closes where the load turned back.
        """
        x = load_n / self.capacity_n
        back = load_n / max(highest_n, load_n) if load_n > 0.0 else 0.0
        lag_n = self.lag * max(highest_n, load_n) * 4.0 * back * (1.0 - back)
        return load_n + self.capacity_n * self.bend * 4.0 * x * (1.0 - x) + lag_n


FAULTS = {
    "hands_left": CellErrors(500.0, 2e-4, 1e-4, 1.5e-4, {"hands_right": 0.004}),
    "hands_right": CellErrors(500.0, -1e-4, 1.2e-4, 1e-4, {"hands_left": 0.003}),
    "saddle_nose": CellErrors(1000.0, 1.5e-4, 1e-4, -1e-4, {"saddle_rear": 0.006}),
    "saddle_rear": CellErrors(1000.0, -2e-4, 0.8e-4, 1.2e-4, {"saddle_nose": -0.005}),
}


class BenchJig:
    """Weights on a simulated jig, with its state. Set things, then advance."""

    def __init__(
        self,
        rng: np.random.Generator,
        *,
        weights_off: float = 0.0,
        faults: Mapping[str, CellErrors] = FAULTS,
    ) -> None:
        """weights_off: how much heavier all weights are than their marks, as a fraction."""
        self.electronics = Electronics()
        self.faults = faults
        self._rng = rng
        self._weights_off = weights_off
        self._loads_n = np.zeros(len(CELLS))
        self._highest_n = np.zeros(len(CELLS))
        self._crept_n = np.zeros(len(CELLS))
        self._tilt_deg = 0.0
        self._asked_s, self._scans = 0.0, 0

    @property
    def t_s(self) -> float:
        """Time of the next scan."""
        return self._scans / self.electronics.rate_hz

    def put(self, marked_n: Mapping[str, float]) -> None:
        """From now on these weights, by their marks, hang on the cells; none on a cell not named."""
        strange = sorted(set(marked_n) - set(CELLS))
        if strange:
            raise ValueError(f"no cell {', '.join(strange)}; the simulated jig has {', '.join(CELLS)}")
        loads_n = np.array([marked_n.get(cell, 0.0) for cell in CELLS]) * (1.0 + self._weights_off)
        self._highest_n = np.where(loads_n > 0.0, np.maximum(loads_n, self._highest_n), 0.0)
        self._loads_n = loads_n

    def tilt(self, tilt_deg: float) -> None:
        """Tilt the jig, nose up positive."""
        if not -30.0 <= tilt_deg <= 30.0:
            raise ValueError(f"tilt_deg: expected -30 to 30, got {tilt_deg:g}")
        self._tilt_deg = tilt_deg

    def advance(self, duration_s: float) -> JigBlock:
        """The scans of the next duration_s; none if no scan falls into it."""
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
        """(n, 4) what the cells show, including creep."""
        mine = np.array(
            [
                self.faults[cell].shown_n(load_n, highest_n)
                for cell, load_n, highest_n in zip(CELLS, self._loads_n.tolist(), self._highest_n, strict=True)
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
