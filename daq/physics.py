"""Physics that more than one part of the program needs: gravity, weight on a tilted jig, crank torque. Pure."""

from __future__ import annotations

import math
from typing import overload

import numpy as np

from daq.values import Array

STANDARD_G_M_S2 = 9.80665
"""Standard acceleration of free fall, exact by definition (3rd CGPM, 1901; ISO 80000-3)."""
LEAST_G_M_S2, MOST_G_M_S2 = 9.75, 9.85
"""What local gravity can be where people ride: 9.780 at the equator to 9.832 at the poles, at sea level (WGS 84), and
0.003 less for each 1000 m of height."""
POUND_KG = 0.45359237
"""The international avoirdupois pound, by definition (1959)."""
NEWTONS = {"N": 1.0, "kg": STANDARD_G_M_S2, "lb": POUND_KG * STANDARD_G_M_S2}
"""One unit of a scale's display."""


def weight_normal_n(mass_kg: float, tilt_deg: float, g_m_s2: float = STANDARD_G_M_S2) -> float:
    """Weight along the jig normal, W' = m g cos t, N. A NaN tilt (not measured) counts as level."""
    tilt_rad = 0.0 if math.isnan(tilt_deg) else math.radians(tilt_deg)
    return mass_kg * g_m_s2 * math.cos(tilt_rad)


@overload
def crank_torque_nm(power_w: float, cadence_rpm: float) -> float: ...
@overload
def crank_torque_nm(power_w: Array, cadence_rpm: Array) -> Array: ...
def crank_torque_nm(power_w: float | Array, cadence_rpm: float | Array) -> float | Array:
    """Mean torque over a turn of the crank, Q = 60 P / (2 pi n), N m; NaN where the crank stands still: then it can
    carry any torque at zero power.
    """
    if not isinstance(power_w, np.ndarray):
        return 60.0 * power_w / (2.0 * math.pi * cadence_rpm) if cadence_rpm > 0.0 else math.nan
    turns = np.where(np.greater(cadence_rpm, 0.0), cadence_rpm, math.nan)
    return np.asarray(60.0 * power_w / (2.0 * math.pi * turns))


def power_w(torque_nm: float, cadence_rpm: float) -> float:
    """Power of a mean crank torque at a cadence, P = 2 pi n Q / 60, W."""
    return 2.0 * math.pi * cadence_rpm * torque_nm / 60.0
