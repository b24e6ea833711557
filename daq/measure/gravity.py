"""Local gravity from latitude and height: normal gravity of the WGS84 ellipsoid (NIMA TR8350.2, section 4)."""

from __future__ import annotations

import math

GAMMA_EQUATOR_M_S2 = 9.7803253359
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_SQUARED = 0.00669437999013
SEMI_MAJOR_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
M_RATIO = 0.00344978650684
"""omega^2 a^2 b / GM."""
LOCAL_ANOMALY_M_S2 = 5e-4
"""Real gravity departs from normal gravity by about this much, standard deviation; from memory."""


def normal_gravity_m_s2(latitude_deg: float, height_m: float = 0.0) -> float:
    """Normal gravity at a geodetic latitude and height over the ellipsoid, m/s^2.

    Somigliana's closed formula at height 0, its second-order series in height above. ValueError off the Earth.
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"latitude_deg: expected -90 to 90, got {latitude_deg}")
    if not -500.0 <= height_m <= 9000.0:
        raise ValueError(f"height_m: expected -500 to 9000, got {height_m}")
    sin2 = math.sin(math.radians(latitude_deg)) ** 2
    at_0 = GAMMA_EQUATOR_M_S2 * (1.0 + SOMIGLIANA_K * sin2) / math.sqrt(1.0 - ECCENTRICITY_SQUARED * sin2)
    first = 2.0 * (1.0 + FLATTENING + M_RATIO - 2.0 * FLATTENING * sin2) * height_m / SEMI_MAJOR_M
    return at_0 * (1.0 - first + 3.0 * (height_m / SEMI_MAJOR_M) ** 2)
