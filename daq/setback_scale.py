"""A jig's setback scale as a caliper found it: where the saddle is when the scale says so, and how well that is known.

`daq/proof/scale.py` finds it; the rig file carries it; every onset is told with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SetbackScale:
    """A calibrated scale."""

    middle_mm: float
    offset_mm: float
    """True less shown, in the middle."""
    slope_error: float
    """mm per mm."""
    backlash_mm: float
    """Coming forward less going back, at one mark."""
    u_offset_mm: float
    """Standard uncertainty, the caliper's ends included."""
    u_slope: float
    scatter_mm: float

    def true_mm(self, reading_mm: float) -> float:
        """The setback, by caliper, of a position of the scale reached from either side."""
        return reading_mm + self.offset_mm + self.slope_error * (reading_mm - self.middle_mm)

    def u_mm(self, reading_mm: float) -> float:
        """Standard uncertainty of that: what all positions share, and the play, which may lie on either side."""
        return math.hypot(
            self.u_offset_mm,
            self.u_slope * (reading_mm - self.middle_mm),
            abs(self.backlash_mm) / math.sqrt(12.0),
        )
