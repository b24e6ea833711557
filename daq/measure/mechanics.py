"""How the weight is shared between hands, saddle and feet, with uncertainties. Means over whole strokes only: within a
stroke the three loads do not add up to the weight. Foot load is weight minus the other two, a difference and not a
measurement; left and right foot, and feet within a stroke, cannot be computed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.physics import STANDARD_G_M_S2, weight_normal_n
from daq.values import NAN, Array


@dataclass(frozen=True, slots=True)
class ShareUncertainty:
    """Standard uncertainties of the inputs to the shares, and the correlation of the two loads."""

    hands_n: float = 1.0
    saddle_n: float = 2.0
    correlation: float = 0.0
    """Between the errors of hands and saddle: 1 if both come from one calibration weight."""
    mass_kg: float = 0.25
    tilt_deg: float = 0.1
    g_relative: float = 1e-4


@dataclass(frozen=True, slots=True)
class Shares:
    """Fractions of the weight along the jig normal, each with its standard uncertainty."""

    hands: float
    saddle: float
    feet: float
    u_hands: float
    u_saddle: float
    u_feet: float
    feet_n: float
    u_feet_n: float
    weight_normal_n: float


def shares(
    hands_n: float,
    saddle_n: float,
    *,
    mass_kg: float,
    tilt_deg: float = 0.0,
    g_m_s2: float = STANDARD_G_M_S2,
    u: ShareUncertainty = ShareUncertainty(),
) -> Shares:
    """Shares of whole-stroke mean loads, to first order in the uncertainties (JCGM 100, 5.2).

    rho^2 = (u_m/m)^2 + (tan t u_t)^2 + (u_g/g)^2; u^2(p) = u_n^2/W'^2 + p^2 rho^2 for hands and saddle;
    u^2(p_f) = (u_h^2 + u_s^2 + 2 r u_h u_s)/W'^2 + (p_h + p_s)^2 rho^2.
    ValueError without a positive mass.
    """
    if not mass_kg > 0.0:
        raise ValueError(f"mass_kg: expected more than 0, got {mass_kg}")
    weight = weight_normal_n(mass_kg, tilt_deg, g_m_s2)
    rho = math.sqrt(
        (u.mass_kg / mass_kg) ** 2
        + (math.tan(math.radians(tilt_deg)) * math.radians(u.tilt_deg)) ** 2
        + u.g_relative**2
    )
    p_h, p_s = hands_n / weight, saddle_n / weight
    u_sum_n = math.sqrt(u.hands_n**2 + u.saddle_n**2 + 2.0 * u.correlation * u.hands_n * u.saddle_n)
    return Shares(
        hands=p_h,
        saddle=p_s,
        feet=1.0 - p_h - p_s,
        u_hands=math.hypot(u.hands_n / weight, p_h * rho),
        u_saddle=math.hypot(u.saddle_n / weight, p_s * rho),
        u_feet=math.hypot(u_sum_n / weight, (p_h + p_s) * rho),
        feet_n=weight - hands_n - saddle_n,
        u_feet_n=math.hypot(u_sum_n, weight * rho),
        weight_normal_n=weight,
    )


@dataclass(frozen=True, slots=True)
class Side:
    """How much more one hand, or one end of the saddle, carries than the other. Never a diagnosis."""

    difference_n: float
    u_difference_n: float
    fraction: float
    """Difference over the sum; NaN if nothing is carried."""
    u_fraction: float

    @property
    def clear(self) -> bool:
        """Whether the difference is beyond twice its standard uncertainty."""
        return abs(self.difference_n) > 2.0 * self.u_difference_n


def side(first_n: float, second_n: float, *, u_first_n: float, u_second_n: float) -> Side:
    """First minus second, with independent standard uncertainties."""
    total = first_n + second_n
    if total == 0.0:
        return Side(first_n - second_n, math.hypot(u_first_n, u_second_n), math.nan, math.nan)
    u_fraction = 2.0 * math.hypot(second_n * u_first_n, first_n * u_second_n) / total**2
    return Side(first_n - second_n, math.hypot(u_first_n, u_second_n), (first_n - second_n) / total, u_fraction)


def load_point_m(cells_n: Array, cells_x_m: Array) -> float:
    """Where along x the cells' total load acts, sum(F x) / sum(F), m. NaN if the cells carry nothing in total. cells_n,
    cells_x_m: (k,).
    """
    total = float(np.sum(cells_n))
    return float(np.dot(cells_n, cells_x_m)) / total if total > 0.0 else math.nan


def summed(values: Array, columns: Sequence[int]) -> Array:
    """Sum of some columns, added in their order: numpy's own sums round differently for other lengths. NaN of none."""
    total = np.full(len(values), 0.0 if columns else NAN)
    for column in columns:
        total = total + values[:, column]
    return total
