"""What a plan can tell about an onset before it is ridden: the Fisher information of its steps, and the best plan for a
given number of minutes. The steps' means are normal about a hinge with unknown position, slopes and level; the drift
over time has the estimator's prior. The inverse of the information is the Cramer-Rao bound on the position of the bend.
It holds for a bend well inside the range and a clear rise; for less, no onset is named at all (`smallest_slope`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.sweep.evidence import DRIFT_N_PER_MIN
from daq.sweep.plan import FEWEST_POSITIONS, MOVING_S, interleaved
from daq.sweep.sway import SWAY_N
from daq.values import Array

CENTRAL = (0.2, 0.8)
"""The bend is assumed to lie in the central 60 % of the range, uniformly."""
DWELLS_S = (15.0, 20.0, 25.0, 35.0, 45.0, 60.0, 90.0, 120.0, 180.0)
SETTLE_S = 6.0
BETWEEN_N = 1.0
"""Scatter from visit to visit that strokes do not show, before this rider's own is known. Judgement, no source."""


@dataclass(frozen=True, slots=True)
class Sway:
    """One rider's sway, newtons and seconds."""

    sway_n: float = SWAY_N
    sway_s: float = 4.0
    """Standard deviation and correlation time: 3-8 N and 2-10 s expected. Assumption."""
    between_n: float = BETWEEN_N

    def step_sd_n(self, dwell_s: float) -> float:
        """Standard deviation of one step's mean: of an Ornstein-Uhlenbeck process over the dwell, and of a visit."""
        over = self.sway_s / dwell_s
        mean = 2.0 * over * (1.0 - over * (1.0 - math.exp(-1.0 / over)))
        return math.hypot(self.sway_n * math.sqrt(mean), self.between_n)

    @property
    def said(self) -> str:
        """A few words."""
        return f"sway {self.sway_n:.1f} N over {self.sway_s:.0f} s, {self.between_n:.1f} N from visit to visit"


USUAL = Sway()
"""Of riders in general, where a cell is read all along."""


@dataclass(frozen=True, slots=True)
class Design:
    """A plan as evaluated."""

    positions_mm: tuple[float, ...]
    dwell_s: float
    minutes: float
    sd_slope_n: float
    """Bound of sd(onset) times the added slope, N: divided by the slope, N/mm, it is the sd in mm."""


def sd_times_slope(setback_mm: Array, t_min: Array, sd_n: float) -> float:
    """Bound of the standard deviation of the onset times the added slope, N: rms over the onsets in the central part.

    Scale-free in the slope: the information of the place goes with its square.
    """
    forward = -(setback_mm - setback_mm.mean())
    span = float(np.ptp(forward))
    drift = t_min - t_min.mean()
    found = []
    for share in np.linspace(*CENTRAL, 7):
        z = forward - (forward.min() + share * span)
        design = np.column_stack([np.ones(len(z)), z, np.maximum(z, 0.0), (z > 0.0).astype(float), drift])
        held = np.diag([1e-12, 1e-12, 1e-12, 1e-12, DRIFT_N_PER_MIN**-2])
        found.append(np.linalg.inv(design.T @ design / sd_n**2 + held)[3, 3])
    return math.sqrt(float(np.mean(found)))


def designs(rear_mm: float, front_mm: float, minutes: float, wander: Sway) -> list[Design]:
    """Every plan out and back that fills the minutes: dwell times, positions ridden once each, or half as many ridden
    twice; best first."""
    found = []
    for dwell_s in DWELLS_S:
        steps = int(60.0 * minutes / (MOVING_S + SETTLE_S + dwell_s) + 1e-9)
        for visits in (1, 2):
            places = steps // visits
            if places < FEWEST_POSITIONS:
                continue
            spaced = np.round(np.linspace(rear_mm, front_mm, places), 3).tolist()
            positions = interleaved(spaced) * visits
            ridden_min = np.arange(float(len(positions))) * (MOVING_S + SETTLE_S + dwell_s) / 60.0
            sd = sd_times_slope(np.array(positions), np.asarray(ridden_min, dtype=float), wander.step_sd_n(dwell_s))
            taken = len(positions) * (MOVING_S + SETTLE_S + dwell_s) / 60.0
            found.append(Design(positions, dwell_s, taken, sd))
    return sorted(found, key=lambda design: design.sd_slope_n)


def best_design(rear_mm: float, front_mm: float, minutes: float, wander: Sway) -> Design | None:
    """The plan with the smallest bound; None if there are too few minutes for any."""
    return next(iter(designs(rear_mm, front_mm, minutes, wander)), None)
