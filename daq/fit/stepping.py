"""How much the saddle goes up or down as its setback changes, when the leg's extension is to be kept."""

from __future__ import annotations

import math

from daq.measure import geometry
from daq.measure.geometry import Seat
from daq.sweep.plan import Plan

SEAT_TUBE_DEG = 73.5
"""Turns a height along the seat tube into one over the BB. Assumption; half a degree is 2 mm at 720 mm."""
HIP_BEHIND_NOSE_MM = 175.0
HIP_ABOVE_MM = 85.0
"""Hip joints from the saddle's nose. Assumption."""


def height_change_mm(plan: Plan, setback_mm: float | None) -> float | None:
    """What to add to the height the plan starts from, mm over the BB; None when the plan keeps the height."""
    start_mm, height_mm = plan.start_setback_mm, plan.start_height_mm
    if plan.height_policy != "leg extension kept" or setback_mm is None or start_mm is None or height_mm is None:
        return None
    seat = Seat(start_mm, over_bb_mm(height_mm), hip_forward_mm=-HIP_BEHIND_NOSE_MM, hip_above_mm=HIP_ABOVE_MM)
    return geometry.step(seat, setback_mm, reach_kept=plan.protocol == "reach kept").raise_mm


def over_bb_mm(height_mm: float) -> float:
    """A height measured along the seat tube as the saddle's height over the BB."""
    return height_mm * math.sin(math.radians(SEAT_TUBE_DEG))
