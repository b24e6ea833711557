"""The rider's own bicycle: front-wheel share, flat and on a gradient, and whether it can reach a setback at all."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.values import Z_95

BODY_PER_SADDLE = 0.78
"""How far the body's centre of mass moves per move of the saddle at constant leg extension: from linkage models with
published segment tables, 0.7-0.9. Assumption."""


@dataclass(frozen=True, slots=True)
class Bicycle:
    """Frame and mass of a bicycle, metres and kilograms, wheels on the ground, origin BB."""

    wheelbase_m: float
    chainstay_m: float
    bb_drop_m: float
    wheel_radius_m: float
    mass_kg: float
    com_x_m: float
    com_y_m: float

    def __post_init__(self) -> None:
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise ValueError(f"bicycle.{name}: expected {low:g} to {high:g}, got {value:g}")
        if self.rear_m >= self.wheelbase_m:
            raise ValueError("bicycle.wheelbase_m: shorter than the chainstay reaches behind the BB")

    @property
    def rear_m(self) -> float:
        """Rear axle behind the BB, r = sqrt(chainstay^2 - drop^2)."""
        return math.sqrt(self.chainstay_m**2 - self.bb_drop_m**2)

    @property
    def bb_height_m(self) -> float:
        """BB over the ground, h = wheel radius - drop."""
        return self.wheel_radius_m - self.bb_drop_m


_LIMITS = (
    ("wheelbase_m", 0.7, 2.5),
    ("chainstay_m", 0.3, 0.7),
    ("bb_drop_m", -0.1, 0.12),
    ("wheel_radius_m", 0.15, 0.45),
    ("mass_kg", 3.0, 60.0),
    ("com_x_m", -0.6, 1.2),
    ("com_y_m", -0.3, 1.0),
)


@dataclass(frozen=True, slots=True)
class FrontShare:
    """Front wheel's fraction of the weight along the normal of bicycle and rider, with its standard uncertainty."""

    fraction: float
    u_fraction: float

    @property
    def interval_95(self) -> tuple[float, float]:
        return self.fraction - Z_95 * self.u_fraction, self.fraction + Z_95 * self.u_fraction


def front_share(
    bicycle: Bicycle, *, mass_kg: float, weight_line_m: float, u_weight_line_m: float = 0.0, tilt_deg: float = 0.0
) -> FrontShare:
    """Moments about the rear wheel's contact, from a weight line measured AT this tilt: the body's height drops out.

    [m (X + r - h tan t) + m_b (x_b + r - (y_b + h) tan t)] / ((m + m_b) B). No acceleration, no air, no chain.
    """
    tangent, r, h = math.tan(math.radians(tilt_deg)), bicycle.rear_m, bicycle.bb_height_m
    both = (mass_kg + bicycle.mass_kg) * bicycle.wheelbase_m
    rider = mass_kg * (weight_line_m + r - h * tangent)
    frame = bicycle.mass_kg * (bicycle.com_x_m + r - (bicycle.com_y_m + h) * tangent)
    return FrontShare((rider + frame) / both, mass_kg * u_weight_line_m / both)


def weight_line_at(weight_line_m: float, com_height_m: float, *, from_tilt_deg: float, to_tilt_deg: float) -> float:
    """The weight line at another tilt, same posture: X = x_c - y_c tan t. Needs the height of the body's centre."""
    before, after = math.tan(math.radians(from_tilt_deg)), math.tan(math.radians(to_tilt_deg))
    return weight_line_m + com_height_m * (before - after)


def front_share_per_10mm(bicycle: Bicycle, *, mass_kg: float) -> float:
    """Change of the front share, a fraction, when the saddle goes 10 mm back: negative."""
    return -0.010 * BODY_PER_SADDLE * mass_kg / ((mass_kg + bicycle.mass_kg) * bicycle.wheelbase_m)


@dataclass(frozen=True, slots=True)
class SeatMount:
    """Seat tube, post and rails of a bicycle."""

    seat_tube_deg: float
    post_offset_mm: float
    """Clamp behind the seat tube's line, perpendicular to it; 0 for a straight post."""
    clamp_below_saddle_mm: float
    """Saddle top over the clamp."""
    reference_to_rails_front_mm: float
    """From the saddle's reference point back to the foremost position at which the clamp may grip, as marked on the
    rails."""
    reference_to_rails_rear_mm: float
    """The same to the rearmost position."""

    def __post_init__(self) -> None:
        if not 60.0 <= self.seat_tube_deg <= 85.0:
            raise ValueError(f"seat_tube_deg: expected 60 to 85, got {self.seat_tube_deg:g}")
        if self.reference_to_rails_rear_mm <= self.reference_to_rails_front_mm:
            raise ValueError("reference_to_rails_rear_mm: expected more than reference_to_rails_front_mm")


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether a bicycle can reach a setback, and if not, by how much it misses and what would help."""

    reachable: bool
    foremost_mm: float
    rearmost_mm: float
    short_mm: float
    """How much is missing: positive, further back is needed; negative, further forward; 0 if reachable."""
    text: str


def reachable(mount: SeatMount, *, setback_mm: float, saddle_height_mm: float) -> Reach:
    """The setbacks that this post and these rails allow with the saddle's top this far over the BB (vertically,
    level)."""
    a = math.radians(mount.seat_tube_deg)
    clamp_height = saddle_height_mm - mount.clamp_below_saddle_mm
    clamp_back = clamp_height / math.tan(a) + mount.post_offset_mm / math.sin(a)
    foremost = clamp_back - mount.reference_to_rails_rear_mm
    rearmost = clamp_back - mount.reference_to_rails_front_mm
    if foremost <= setback_mm <= rearmost:
        return Reach(
            True, foremost, rearmost, 0.0, f"reachable: post and rails give {foremost:.0f} to {rearmost:.0f} mm"
        )
    short = setback_mm - rearmost if setback_mm > rearmost else setback_mm - foremost
    offset = mount.post_offset_mm + short * math.sin(a)
    where = "further back" if short > 0 else "further forward"
    text = (
        f"not reachable: post and rails give {foremost:.0f} to {rearmost:.0f} mm, {abs(short):.0f} mm {where} is "
        f"needed; a post with {_offset_said(offset)} or a saddle with longer rails would give it"
    )
    return Reach(False, foremost, rearmost, short, text)


def _offset_said(offset_mm: float) -> str:
    """Of a post, which way the clamp lies from the seat tube's line."""
    whole = round(offset_mm)
    if whole == 0:
        return "no offset"
    return f"{abs(whole)} mm of {'rearward' if whole > 0 else 'forward'} offset"
