"""Geometry of stepping the saddle: what moves with the setback, and what the jig's tilt does to it. Exact.

Setback positive behind the BB, in the bike's frame unless said otherwise; heights over the BB; tilt nose up positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

LEVEL_TOLERANCE_DEG = 0.2
"""Keeps the setback against gravity within 2.5 mm at 700 mm height. Common practice, no source."""
BAR_FIXED = (
    "bar fixed: the reading of cells along the normal can fall while the whole hand force rises; keep the reach "
    "where the jig can"
)


def tilt_deg_of(gradient_pct: float) -> float:
    """Tilt of a gradient, gradient = 100 tan(tilt)."""
    return math.degrees(math.atan(gradient_pct / 100.0))


def gradient_pct_of(tilt_deg: float) -> float:
    """Gradient of a tilt, per cent."""
    return 100.0 * math.tan(math.radians(tilt_deg))


def setback_against_gravity_mm(setback_mm: float, height_mm: float, tilt_deg: float) -> float:
    """Setback measured along the horizontal instead of the jig: s cos t + h sin t.

    At 4 / 4.5 / 5 % a saddle 700 mm above the BB sits 28 / 31.5 / 35 mm further back against gravity.
    """
    t = math.radians(tilt_deg)
    return setback_mm * math.cos(t) + height_mm * math.sin(t)


def level_warning(off_deg: float, height_mm: float) -> str:
    """A sentence if the jig's tilt is too far from the intended one; otherwise empty."""
    if abs(off_deg) <= LEVEL_TOLERANCE_DEG:
        return ""
    shift_mm = abs(setback_against_gravity_mm(0.0, height_mm, off_deg))
    return (
        f"set it to within {LEVEL_TOLERANCE_DEG:g}°: this error is {shift_mm:.1f} mm of setback against gravity at "
        f"{height_mm:.0f} mm height"
    )


def seat_angle_deg(setback_mm: float, height_mm: float) -> float:
    """Effective seat angle: of the line from the BB to the saddle's reference, over the bike frame's horizontal."""
    return math.degrees(math.atan2(height_mm, setback_mm))


@dataclass(frozen=True, slots=True)
class Seat:
    """The saddle's reference point, and the hip relative to it. mm."""

    setback_mm: float
    height_mm: float
    hip_forward_mm: float = 0.0
    """Hip joint ahead of the reference point; negative behind it."""
    hip_above_mm: float = 0.0

    @property
    def leg_mm(self) -> float:
        """BB to hip."""
        return math.hypot(self.setback_mm - self.hip_forward_mm, self.height_mm + self.hip_above_mm)

    def at(self, setback_mm: float) -> Seat:
        """The seat at another setback with the same leg extension: y' = sqrt(d^2 - (s' - h_x)^2) - h_y.

        ValueError if the leg would not reach.
        """
        back = setback_mm - self.hip_forward_mm
        if abs(back) >= self.leg_mm:
            raise ValueError(
                f"setback_mm: the hip stays {self.leg_mm:.0f} mm from the BB, so expected between "
                f"{self.hip_forward_mm - self.leg_mm:.0f} and {self.hip_forward_mm + self.leg_mm:.0f}, "
                f"got {setback_mm:g}"
            )
        height = math.sqrt(self.leg_mm**2 - back**2) - self.hip_above_mm
        return Seat(setback_mm, height, self.hip_forward_mm, self.hip_above_mm)


@dataclass(frozen=True, slots=True)
class RailMove:
    """Saddle moved on its rails and the post slid to keep the leg extension. mm."""

    post_mm: float
    """Slide along the seat tube, positive out of the frame."""
    seat: Seat


def rails_back(seat: Seat, back_mm: float, seat_tube_deg: float) -> RailMove:
    """Rails moved back by back_mm, and how far the post slides so that BB to hip keeps its length: the exact solution.

    Sliding the post out moves the saddle back as well, by cos of the seat tube's angle. ValueError for no seat tube
    between 45 and 90 degrees, or a move too far for the leg.
    """
    if not 45.0 <= seat_tube_deg <= 90.0:
        raise ValueError(f"seat_tube_deg: expected 45 to 90, got {seat_tube_deg:g}")
    a = math.radians(seat_tube_deg)
    back = seat.setback_mm - seat.hip_forward_mm + back_mm
    up = seat.height_mm + seat.hip_above_mm
    along = back * math.cos(a) + up * math.sin(a)
    inside = along**2 - (back**2 + up**2 - seat.leg_mm**2)
    if inside < 0.0:
        raise ValueError(f"back_mm: {back_mm:g} mm is further than this leg reaches on this seat tube")
    post = -along + math.sqrt(inside)
    moved = Seat(
        seat.setback_mm + back_mm + post * math.cos(a),
        seat.height_mm + post * math.sin(a),
        seat.hip_forward_mm,
        seat.hip_above_mm,
    )
    return RailMove(post, moved)
