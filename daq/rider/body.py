"""The rider's posture on the jig and its mass distribution: a plane linkage of de Leva segments. A model: rigid
segments, joints in one plane, a constant foot angle, the trunk as one piece. Positions are in the jig frame, metres,
arrays (..., 2) of x and y. The module knows nothing about forces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from daq.rider.segments import SEGMENTS, Segment, Sex, total_fraction
from daq.values import Array

FOOT_ANGLE_RAD = math.radians(20.0)
"""Heel up; held all through the turn. Assumption."""
BALL_OF_FOOT = 0.72
"""Heel to the pedal axle, over foot length. Assumption."""
ANKLE_FROM_HEEL = 0.25
ANKLE_HEIGHT = 0.31
"""Ankle joint along and above the sole, over foot length. Assumption."""
CERVICAL_ABOVE_SHOULDERS = 0.0504
"""Seventh cervical beyond the middle of the shoulders, over stature: (603.3 - 515.5) / 1741 mm, de Leva."""
HEAD_ANGLE_RAD = math.radians(65.0)
"""Head relative to the horizontal, looking ahead. Assumption."""
TURN_DEG = np.arange(0.0, 360.0, 5.0)
"""Number of crank angles for a mean over the turn; exact for all harmonics below 72."""


class CannotReach(ValueError):
    """A limb is too short or too long for the position of its ends."""


@dataclass(frozen=True)
class Body:
    """A body of given mass, stature and sex."""

    mass_kg: float = 75.0
    stature_m: float = 1.78
    sex: Sex = "male"
    arm_extension: float = 0.96
    """Shoulder to grip, over the length of the straight arm."""

    def __post_init__(self) -> None:
        for name, low, high in (("mass_kg", 30, 200), ("stature_m", 1.2, 2.2), ("arm_extension", 0.6, 1.0)):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name}: expected {low:g} to {high:g}, got {value:g}")

    def segment(self, name: str) -> Segment:
        return SEGMENTS[self.sex][name]

    def mass(self, name: str) -> float:
        """Mass of one such segment, kg; all of them add up to mass_kg."""
        return self.mass_kg * self.segment(name).mass_fraction / total_fraction(self.sex)

    def length_m(self, name: str) -> float:
        return self.segment(name).length_per_stature * self.stature_m

    @cached_property
    def leg_mass_kg(self) -> float:
        """Both legs."""
        return 2.0 * (self.mass("thigh") + self.mass("shank") + self.mass("foot"))

    @property
    def upper_mass_kg(self) -> float:
        """Head, trunk and arms."""
        return self.mass_kg - self.leg_mass_kg


def third_corner(start: Array, end: Array, first_m: float, second_m: float, *, side: float, limb: str) -> Array:
    """Where two links meet that run from start over first_m and second_m to end, (..., 2).

    side +1: left of the direction from start to end, -1: right. CannotReach if the links do not span it.
    """
    span = end - start
    d = np.hypot(span[..., 0], span[..., 1])
    if np.any(d > first_m + second_m) or np.any(d < abs(first_m - second_m)):
        raise CannotReach(
            f"{limb}: links of {first_m:.3f} and {second_m:.3f} m cannot span {float(np.min(d)):.3f} to "
            f"{float(np.max(d)):.3f} m; change stature, saddle height or reach"
        )
    along = (first_m**2 - second_m**2 + d**2) / (2.0 * d)
    across = side * np.sqrt(np.maximum(first_m**2 - along**2, 0.0))
    unit = span / d[..., None]
    normal = np.stack([-unit[..., 1], unit[..., 0]], axis=-1)
    return np.asarray(start + along[..., None] * unit + across[..., None] * normal)


@dataclass(frozen=True)
class PlacedSegments:
    """Segments of a part of the body: mass, kg, and centre of mass (..., 2) of each, m."""

    masses_kg: tuple[float, ...]
    centres_m: tuple[Array, ...]

    @property
    def mass_kg(self) -> float:
        return sum(self.masses_kg)

    @property
    def com_m(self) -> Array:
        """Common centre of mass, (..., 2)."""
        return np.asarray(sum(m * c for m, c in zip(self.masses_kg, self.centres_m, strict=True)) / self.mass_kg)


def upper_body(body: Body, hip_m: Array, grip_m: Array) -> PlacedSegments:
    """Head, trunk and both arms with the hands on the bar. CannotReach if that is impossible."""
    arm_m = body.length_m("upper_arm") + body.length_m("forearm") + body.length_m("hand")
    shoulder = third_corner(
        hip_m, grip_m, body.length_m("trunk"), body.arm_extension * arm_m, side=1.0, limb="trunk and arms"
    )
    lower_arm_m = body.length_m("forearm") + body.length_m("hand")
    elbow = third_corner(shoulder, grip_m, body.length_m("upper_arm"), lower_arm_m, side=-1.0, limb="arm")
    wrist = elbow + (grip_m - elbow) * body.length_m("forearm") / lower_arm_m
    along_trunk = (shoulder - hip_m) / body.length_m("trunk")
    cervical = shoulder + CERVICAL_ABOVE_SHOULDERS * body.stature_m * along_trunk
    vertex = cervical + body.length_m("head") * np.array([math.cos(HEAD_ANGLE_RAD), math.sin(HEAD_ANGLE_RAD)])
    ends = {
        "head": (vertex, cervical),
        "trunk": (shoulder, hip_m),
        "upper_arm": (shoulder, elbow),
        "forearm": (elbow, wrist),
        "hand": (wrist, grip_m),
    }
    return _placed(body, ends, {"head": 1, "trunk": 1, "upper_arm": 2, "forearm": 2, "hand": 2})


def leg(body: Body, hip_m: Array, pedal_m: Array) -> PlacedSegments:
    """One leg with its foot on the pedal, for any number of pedal positions (..., 2)."""
    foot_m = body.length_m("foot")
    along = np.array([math.cos(FOOT_ANGLE_RAD), -math.sin(FOOT_ANGLE_RAD)])
    above = np.array([math.sin(FOOT_ANGLE_RAD), math.cos(FOOT_ANGLE_RAD)])
    heel = pedal_m - BALL_OF_FOOT * foot_m * along
    ankle = heel + foot_m * (ANKLE_FROM_HEEL * along + ANKLE_HEIGHT * above)
    knee = third_corner(hip_m, ankle, body.length_m("thigh"), body.length_m("shank"), side=1.0, limb="leg")
    ends = {"thigh": (hip_m, knee), "shank": (knee, ankle), "foot": (heel, heel + foot_m * along)}
    return _placed(body, ends, {"thigh": 1, "shank": 1, "foot": 1})


def pedal_at(crank_deg: Array, crank_m: float) -> Array:
    """Pedal axle at a crank angle in degrees from the top, turning forward, (..., 2)."""
    a = np.radians(crank_deg)
    return np.stack([crank_m * np.sin(a), crank_m * np.cos(a)], axis=-1)


def legs_over_the_turn(body: Body, hip_m: Array, crank_m: float) -> Array:
    """Mean centre of mass of the legs over a whole turn, (2,); both legs run through the same positions."""
    return np.asarray(leg(body, hip_m, pedal_at(TURN_DEG, crank_m)).com_m.mean(axis=0))


def _placed(body: Body, ends: dict[str, tuple[Array, Array]], counts: dict[str, int]) -> PlacedSegments:
    return PlacedSegments(
        masses_kg=tuple(counts[name] * body.mass(name) for name in ends),
        centres_m=tuple(a + body.segment(name).com_fraction * (b - a) for name, (a, b) in ends.items()),
    )
