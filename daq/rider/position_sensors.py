"""Position sensors of a simulated jig: the true positions of saddle and bar, as counts of four encoders. They read the
jig, not what the fitter enters: a saddle slightly off its mark shows. Encoders have no noise of their own, so a ride
with them is bit for bit the ride without.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from daq.rider.confounds import FAULT_AFTER_S, Confounds
from daq.rider.jig_geometry import JigGeometry
from daq.values import SEAT_TUBE_DEG

SENSORS = {
    "saddle_slide": "saddle fore-aft",
    "saddle_post": "saddle height",
    "bar_slide": "bar fore-aft",
    "bar_post": "bar height",
}
"""Each channel with its role in the rig file, in the order of the board's channels behind the cells and the tilt."""
MM_PER_COUNT = 0.02
ZERO_COUNTS = 1500
"""The counts of every encoder at 0 mm."""
JUMP_MM = 8.0


class PositionSensors:
    """The encoders of one jig. Call `counts` in the order of the ride: one that sticks keeps its reading."""

    def __init__(self, geometry: JigGeometry, wrong: Confounds) -> None:
        self._geometry, self._wrong = geometry, wrong
        self._stuck_mm: float | None = None

    def counts(self, setback_mm: float, place: int, since_s: npt.NDArray[np.float64]) -> npt.NDArray[np.int32]:
        """(n, 4) counts of scans with the saddle truly at setback_mm, the place-th position, since_s (n,) after it was
        put there."""
        slide_mm, *others_mm = self._places_mm(setback_mm)
        if self._wrong.slide_sticks_place > place or self._stuck_mm is None:
            self._stuck_mm = slide_mm
        else:
            slide_mm = self._stuck_mm
        shown = np.tile([slide_mm, *others_mm], (len(since_s), 1))
        jumped = (place == self._wrong.slide_jumps_place) & (since_s >= FAULT_AFTER_S)
        shown[jumped | (place > self._wrong.slide_jumps_place), 0] += JUMP_MM
        return np.rint(ZERO_COUNTS + shown / MM_PER_COUNT).astype(np.int32)

    def _places_mm(self, setback_mm: float) -> Sequence[float]:
        """As a fitter would enter them, in the order of SENSORS."""
        bar_mm = 1000.0 * self._geometry.grip_m(setback_mm)
        top_mm = 1000.0 * self._geometry.saddle_top_m(setback_mm)
        return setback_mm, top_mm / math.sin(math.radians(SEAT_TUBE_DEG)), float(bar_mm[0]), float(bar_mm[1])


def places_of(role: str) -> tuple[tuple[int, float], tuple[int, float]]:
    """Counts and millimetres at two positions, as a calibration of this sensor would find them."""
    low_mm, high_mm = (0.0, 120.0) if role == "saddle fore-aft" else (400.0, 800.0)
    return _at(low_mm), _at(high_mm)


def _at(mm: float) -> tuple[int, float]:
    return round(ZERO_COUNTS + mm / MM_PER_COUNT), mm
