"""Known forces to calibrate with: the pull of weights of a class, and how well it is known.

Tolerances are those of OIML R111-1:2004 from 1 kg to 50 kg, from memory: check them against the mark or certificate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.measure.calibration.points import AIR_KG_M3, WEIGHT_KG_M3, buoyancy_factor

CLASSES = {"E2": 1.6e-6, "F1": 5e-6, "F2": 1.6e-5, "M1": 5e-5, "M2": 1.6e-4, "M3": 5e-4}
"""Largest permissible error over nominal mass, 1 to 50 kg."""
AIR_VARIES_KG_M3 = 0.1
"""Half the range of air density over the altitudes and weather a jig is used in."""


@dataclass(frozen=True, slots=True)
class Weights:
    """The set of weights used in one calibration."""

    relative: float
    """Standard uncertainty of a mass over the mass."""
    note: str
    """For the certificate: class, or certificate number."""

    def __post_init__(self) -> None:
        if not 0.0 <= self.relative < 0.1:
            raise ValueError(
                f"weights: expected a standard uncertainty from 0 to under 0.1 of the mass, got {self.relative}; gym "
                "plates may be several per cent off: weigh them first"
            )


def of_class(name: str) -> Weights:
    """Weights of a class without a certificate: anything within the tolerance is equally likely (tolerance / sqrt
    3)."""
    if name not in CLASSES:
        raise ValueError(f"class of weights: expected one of {', '.join(CLASSES)}, got {name!r}")
    return Weights(CLASSES[name] / math.sqrt(3.0), f"class {name} (OIML R111)")


def certified(expanded_kg: float, mass_kg: float, *, certificate: str, coverage_factor: float = 2.0) -> Weights:
    """Weights with a certificate that states an expanded uncertainty; also masses read from a scale with a
    certificate."""
    if not (mass_kg > 0.0 and coverage_factor > 0.0):
        raise ValueError(f"expected a mass and a coverage factor above 0, got {mass_kg} kg and {coverage_factor}")
    return Weights(expanded_kg / coverage_factor / mass_kg, certificate)


def pull_n(mass_kg: float, g_m_s2: float, *, air_kg_m3: float = AIR_KG_M3) -> float:
    """Force of a weight hanging in air, N: m g (1 - air density / 8000 kg/m^3)."""
    return mass_kg * g_m_s2 * buoyancy_factor(air_kg_m3)


def buoyancy_relative() -> float:
    """Standard uncertainty of the pull from the density of the air, over the pull."""
    return AIR_VARIES_KG_M3 / math.sqrt(3.0) / WEIGHT_KG_M3
