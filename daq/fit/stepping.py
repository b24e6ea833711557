"""What changes with the setback besides the hands: height, reach, effective seat angle, setback against gravity."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.fit.intake import Saddle
from daq.measure.geometry import Seat, seat_angle_deg, setback_against_gravity_mm, tilt_deg_of
from daq.sweep.plan import Plan
from daq.values import SEAT_TUBE_DEG

HIP_BEHIND_NOSE_MM = 175.0
HIP_ABOVE_MM = 85.0
"""Hip joints from the saddle's nose. Assumption."""
NOSE_TO_WIDTH_MM = 75.0
"""From the nose to where a saddle is 80 mm wide, for a saddle not measured. Assumption."""


@dataclass(frozen=True, slots=True)
class Stepping:
    """One position relative to the plan's starting position; None where the start is unknown."""

    height_change_mm: float | None
    """The change of height over the BB; also None if the plan keeps the height."""
    reach_change_mm: float | None
    """Saddle to bar; 0 if the bar moves along."""
    seat_angle_deg: float | None
    against_gravity_mm: float | None
    """Setback along the horizontal at the plan's gradient."""


def stepping(plan: Plan, setback_mm: float | None, saddle: Saddle | None = None) -> Stepping:
    """The geometry of this position, exact. saddle: the client's, for what its setback is measured to."""
    start_mm, kept = plan.start_setback_mm, plan.protocol == "reach kept"
    if setback_mm is None or start_mm is None:
        return Stepping(None, 0.0 if kept else None, None, None)
    reach_mm = 0.0 if kept else setback_mm - start_mm
    if plan.start_height_mm is None:
        return Stepping(None, reach_mm, None, None)
    start = seat_of(start_mm, plan.start_height_mm, saddle)
    tilt_deg, leg_kept = tilt_deg_of(plan.gradient_pct), plan.height_policy == "leg extension kept"
    height_mm = start.at(setback_mm).height_mm if leg_kept else start.height_mm
    return Stepping(
        height_mm - start.height_mm if leg_kept else None,
        reach_mm,
        seat_angle_deg(setback_mm, height_mm),
        setback_against_gravity_mm(setback_mm, height_mm, tilt_deg),
    )


def seat_of(setback_mm: float, height_mm: float, saddle: Saddle | None, seat_tube_deg: float = SEAT_TUBE_DEG) -> Seat:
    """The saddle's reference point and the hip behind it, from a setback and a height along the seat tube."""
    over_mm = over_bb_mm(height_mm, seat_tube_deg)
    return Seat(setback_mm, over_mm, hip_forward_mm=-_hip_behind_mm(saddle), hip_above_mm=HIP_ABOVE_MM)


def over_bb_mm(height_mm: float, seat_tube_deg: float = SEAT_TUBE_DEG) -> float:
    """A height measured along the seat tube as the saddle's height over the BB."""
    return height_mm * math.sin(math.radians(seat_tube_deg))


def _hip_behind_mm(saddle: Saddle | None) -> float:
    """Hip behind the point the client's setback is measured to."""
    if saddle is None or saddle.reference == "nose":
        return HIP_BEHIND_NOSE_MM
    offset = saddle.nose_to_width_mm
    return HIP_BEHIND_NOSE_MM - (NOSE_TO_WIDTH_MM if offset is None else offset)
