"""What a plan will cost and give, before it is ridden: minutes, and how wide the interval of the onset will be."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.sweep.plan import MOVING_S

SWAY_N = 5.0
SWAY_S = 4.0
"""Sway of a rider's hand load, standard deviation and correlation time: 3-8 N and 2-10 s expected. Assumption."""
LIMIT = 4.5
"""sd(onset) = 4.5 sigma / (d sqrt n), the Cramer-Rao limit of a bend in the middle of n positions; sigma the standard
deviation of a step's mean, d the added slope."""
WIDTH_PER_SD = 4.4
"""Width of the 95 % interval over that limit, found by simulation at n = 11, sigma = 2 N, d = 1.5 N/mm: 8.0 mm."""
SLOPES_N_PER_MM = (0.5, 1.0, 2.0)
"""Of riders nothing is published; these span what is likely."""


@dataclass(frozen=True, slots=True)
class Width:
    """How wide the 95 % interval will be if hand load rises this steeply."""

    slope_n_per_mm: float
    width_mm: float


def duration_s(steps: int, settle_s: float, dwell_s: float) -> float:
    """How long a plan takes with the saddle moved by hand."""
    return steps * (MOVING_S + settle_s + dwell_s)


def step_sd_n(dwell_s: float, *, sway_n: float = SWAY_N, sway_s: float = SWAY_S) -> float:
    """Standard deviation of a mean over dwell_s of a load that sways, sway_n sqrt(2 tau / T) for T well over tau."""
    return sway_n * math.sqrt(2.0 * sway_s / dwell_s)


def widths(steps: int, step_sd: float, slopes: tuple[float, ...] = SLOPES_N_PER_MM) -> tuple[Width, ...]:
    """The interval to expect for each slope, mm."""
    return tuple(Width(d, WIDTH_PER_SD * LIMIT * step_sd / (d * math.sqrt(steps))) for d in slopes)
