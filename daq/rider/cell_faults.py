"""Cells and plugs of a simulated jig that go wrong during a sweep: what the converter then reads."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from daq.rider.confounds import FAULT_AFTER_S, Confounds
from daq.rider.electronics import CELLS, HIGHEST
from daq.values import Array, Bools

HAND, NOSE, REAR = (CELLS.index(name) for name in ("hands_right", "saddle_nose", "saddle_rear"))


class CellFaults:
    """The faults of one jig, with their memory: a frozen cell keeps its last reading."""

    def __init__(self, wrong: Confounds, zero_counts: tuple[float, ...]) -> None:
        self._wrong = wrong
        self._gain_zero = zero_counts[HAND]
        self._last: Array | None = None

    def show(self, counts: Array, place: int, since_s: Array) -> tuple[Array, Bools]:
        """Counts (n, k) as the converter reads them at this position, and which scans (n,) are saturated. since_s (n,):
        time since the saddle was put here. Counts may be means over strokes.
        """
        wrong, shown = self._wrong, counts.copy()
        if wrong.swapped:
            shown[:, [HAND, REAR]] = shown[:, [REAR, HAND]]
        if wrong.swapped_saddle:
            shown[:, [NOSE, REAR]] = shown[:, [REAR, NOSE]]
        if wrong.gain != 1.0:
            bad = _begun(wrong.gain_place, place, since_s)
            shown[bad, HAND] = self._gain_zero + wrong.gain * (shown[bad, HAND] - self._gain_zero)
        saturated = _begun(wrong.saturated_place, place, since_s)
        shown[saturated, HAND] = HIGHEST
        for cell, from_place in ((HAND, wrong.frozen_hand_place), (NOSE, wrong.frozen_nose_place)):
            self._freeze(shown, cell, _begun(from_place, place, since_s))
        if len(shown):
            self._last = shown[-1].copy()
        return shown, saturated

    def _freeze(self, shown: Array, cell: int, frozen: Bools) -> None:
        if not frozen.any():
            return
        first = int(np.argmax(frozen))
        before = shown[first - 1] if first else self._last
        shown[frozen, cell] = shown[first, cell] if before is None else before[cell]


def _begun(from_place: float, place: int, since_s: Array) -> npt.NDArray[np.bool_]:
    return np.asarray((place > from_place) | ((place == from_place) & (since_s >= FAULT_AFTER_S)))
