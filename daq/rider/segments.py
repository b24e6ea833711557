"""Masses and centres of mass of body segments.

de Leva P. (1996) Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters, J Biomech 29:1223-1230, table 4.
Segment lengths of the same subjects are from memory and only set the proportions of the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Sex: TypeAlias = Literal["female", "male"]


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment of one side, or of the middle of the body."""

    mass_fraction: float
    """Of the whole body."""
    com_fraction: float
    """Centre of mass from the first end of the segment, over its length."""
    length_per_stature: float


def _segments(rows: dict[str, tuple[float, float, float]], stature_mm: float) -> dict[str, Segment]:
    return {
        name: Segment(mass_pct / 100.0, com_pct / 100.0, length_mm / stature_mm)
        for name, (mass_pct, com_pct, length_mm) in rows.items()
    }


SEGMENTS: dict[Sex, dict[str, Segment]] = {
    "male": _segments(
        {
            "head": (6.94, 50.02, 242.9),
            "trunk": (43.46, 43.10, 515.5),
            "upper_arm": (2.71, 57.72, 281.7),
            "forearm": (1.62, 45.74, 268.9),
            "hand": (0.61, 79.00, 86.2),
            "thigh": (14.16, 40.95, 422.2),
            "shank": (4.33, 43.95, 434.0),
            "foot": (1.37, 44.15, 258.1),
        },
        1741.0,
    ),
    "female": _segments(
        {
            "head": (6.68, 48.41, 243.7),
            "trunk": (42.57, 37.82, 497.9),
            "upper_arm": (2.55, 57.54, 275.1),
            "forearm": (1.38, 45.59, 264.3),
            "hand": (0.56, 74.74, 78.0),
            "thigh": (14.78, 36.12, 368.5),
            "shank": (4.81, 43.52, 432.3),
            "foot": (1.29, 40.14, 228.3),
        },
        1735.0,
    ),
}
"""head: vertex to the seventh cervical; trunk: middle of the shoulders to middle of the hips; upper arm, forearm,
thigh, shank: joint centre to joint centre, proximal first; hand: wrist to third knuckle; foot: heel to toe tip."""

MIDDLE = ("head", "trunk")
"""Segments that occur once; all others occur twice."""


def count(name: str) -> int:
    """How many of this segment a body has."""
    return 1 if name in MIDDLE else 2


def total_fraction(sex: Sex) -> float:
    """Sum of all mass fractions: 1 except for rounding in the published table (0.9999 for women)."""
    return sum(count(name) * segment.mass_fraction for name, segment in SEGMENTS[sex].items())
