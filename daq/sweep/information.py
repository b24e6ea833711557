"""What a plan can tell about an onset before it is ridden: the Fisher information of its steps. Their means are normal
about a hinge with unknown position, slopes and level; the drift over time has the estimator's prior. The inverse of the
information is the Cramer-Rao bound on the position of the bend. It holds for a bend well inside the range and a clear
rise; for less, no onset is named at all (`daq.fit.expectation.smallest_slope`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.sweep.evidence import DRIFT_N_PER_MIN
from daq.sweep.sway import SWAY_N
from daq.values import Array

SHARES = np.linspace(0.2, 0.8, 62)[:-1] + 0.3 / 61
"""Where the bend may be, shares of the range: its central 60 %, uniformly. So many that none of the usual spacings puts
a position on each: a step at the very bend tells nothing of its place."""
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


def sd_times_slope(
    setback_mm: Array, t_min: Array, sd_n: Array | float, *, ends_mm: tuple[float, float] | None = None
) -> float:
    """Bound of the standard deviation of the onset times the added slope, N: the median over the onsets in the central
    part of the range between ends_mm, of what is ridden if None. A mean would be endless where few positions leave one
    onset that no step is ahead of. sd_n: of each step's mean, or of all.

    Scale-free in the slope: the information of the place goes with its square.
    """
    rear_mm, front_mm = (setback_mm.max(), setback_mm.min()) if ends_mm is None else ends_mm
    z = rear_mm - SHARES[:, None] * (rear_mm - front_mm) - setback_mm
    alike = np.broadcast_to([np.ones(len(setback_mm)), t_min - t_min.mean()], (len(z), 2, len(setback_mm)))
    design = np.concatenate([np.stack([(z > 0.0).astype(float), z, np.maximum(z, 0.0)], axis=1), alike], axis=1) / sd_n
    held = np.diag([1e-12, 1e-12, 1e-12, 1e-12, DRIFT_N_PER_MIN**-2])
    information = design @ design.swapaxes(1, 2) + held
    return math.sqrt(float(np.median(np.linalg.inv(information)[:, 0, 0])))
