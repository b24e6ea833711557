"""The contact points of a simulated jig, and the rider's position on them. Jig frame, metres."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.values import Array


@dataclass(frozen=True, slots=True)
class JigGeometry:
    """A jig set up for one rider at the reference setback."""

    reference_setback_mm: float = 55.0
    """The setback at which the other numbers are measured."""
    bar_x_m: float = 0.54
    bar_y_m: float = 0.68
    """Where the hands press, not the clamp."""
    saddle_y_m: float = 0.70
    crank_m: float = 0.17
    sit_behind_mm: float = 175.0
    """Hip joints behind the saddle's reference point. Assumption."""
    hip_above_saddle_m: float = 0.085
    """Assumption."""
    nose_cell_behind_mm: float = 60.0
    rear_cell_behind_mm: float = 240.0
    """Saddle cells behind the saddle's reference point."""
    reach_kept: bool = True
    """Whether the bar moves with the saddle; otherwise it stays."""

    def hip_m(self, setback_mm: float) -> Array:
        """The hip joints, (2,). The saddle's height follows its setback so that hip to BB keeps its length."""
        back_m = (setback_mm + self.sit_behind_mm) / 1000.0
        leg_m = math.hypot(
            (self.reference_setback_mm + self.sit_behind_mm) / 1000.0, self.saddle_y_m + self.hip_above_saddle_m
        )
        if back_m >= leg_m:
            raise ValueError(
                f"setback_mm: expected less than {1000 * leg_m - self.sit_behind_mm:.0f}, got {setback_mm}"
            )
        return np.array([-back_m, math.sqrt(leg_m**2 - back_m**2)])

    def grip_m(self, setback_mm: float) -> Array:
        """Where the hands press, (2,): moved with the hip if the reach is kept."""
        bar = np.array([self.bar_x_m, self.bar_y_m])
        return bar + self.hip_m(setback_mm) - self.hip_m(self.reference_setback_mm) if self.reach_kept else bar

    def saddle_top_m(self, setback_mm: float) -> float:
        """Height of the saddle's top over the BB."""
        return float(self.hip_m(setback_mm)[1]) - self.hip_above_saddle_m
