"""A jig's setback scale, calibrated by caliper: where the saddle really is at a scale reading, and how well that is
known. `daq/proof/scale.py` fits it; the rig file carries it; every onset takes it into account.
"""

from __future__ import annotations

import hashlib
import math
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from daq.text import Line
from daq.values import Z_95

Mm = Annotated[float, Field(ge=-50, le=50)]
NUMBERS = ("middle_mm", "offset_mm", "slope_error", "backlash_mm", "u_offset_mm", "u_slope", "scatter_mm")


class SetbackScale(BaseModel):
    """A calibrated scale; the table [setback_scale] of a rig file."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    middle_mm: Annotated[float, Field(ge=-100, le=300)]
    offset_mm: Mm
    """True minus shown, in the middle."""
    slope_error: Annotated[float, Field(ge=-0.2, le=0.2)]
    """mm per mm."""
    backlash_mm: Mm
    """Coming forward minus going back, at one mark."""
    u_offset_mm: Annotated[float, Field(ge=0, le=50)]
    """Standard uncertainty, including the caliper's two ends."""
    u_slope: Annotated[float, Field(ge=0, le=0.2)]
    scatter_mm: Annotated[float, Field(ge=0, le=50)] = 0.0
    checked_utc: Annotated[Line, Field(max_length=40)] = ""
    checked_by: Annotated[Line, Field(max_length=200)] = ""

    @property
    def printed(self) -> tuple[str, ...]:
        """Its numbers as lines of a rig file."""
        return tuple(f"{name} = {getattr(self, name):.6f}" for name in NUMBERS)

    @property
    def mark(self) -> str:
        """A digest of its numbers as printed, 16 hexadecimal digits. It tells whether a proof belongs to this scale."""
        return hashlib.sha256("\n".join(self.printed).encode()).hexdigest()[:16]

    def true_mm(self, reading_mm: float) -> float:
        """The setback, by caliper, at a position of the scale reached from either side."""
        return reading_mm + self.offset_mm + self.slope_error * (reading_mm - self.middle_mm)

    def u_mm(self, reading_mm: float) -> float:
        """Its standard uncertainty: the part common to all positions, and the play, which may act in either
        direction."""
        return math.hypot(
            self.u_offset_mm,
            self.u_slope * (reading_mm - self.middle_mm),
            abs(self.backlash_mm) / math.sqrt(12.0),
        )

    def widened(self, interval_mm: tuple[float, float]) -> tuple[float, float]:
        """A 95 % interval of scale positions, widened by the scale's own uncertainty at its middle."""
        low, high = interval_mm
        middle = 0.5 * (low + high)
        half = math.hypot(0.5 * (high - low), Z_95 * self.u_mm(middle))
        return middle - half, middle + half
