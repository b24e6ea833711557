"""How far the step means of typed readings scatter, before and after they are read: in the place of a rider's sway
where what a plan can find is computed (daq.sweep.information)."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from daq.sweep.information import Sway
from daq.sweep.typed.moments import CELL_S
from daq.sweep.typed_levels import UNTOLD, prior_of
from daq.values import StepMean
from daq.words import counted


@dataclass(frozen=True, slots=True)
class ReadOff(Sway):
    """A rider whose load is read off a display a few times at each position."""

    readings: int = 5
    half_n: float = 0.5
    """Half a step of the display, at the hands."""
    damping_s: float = 1.0
    """Time constant of the display; NaN: not known."""
    reading_n: float = UNTOLD.usual_n
    """Standard deviation of one reading about its step's level."""

    def step_sd_n(self, dwell_s: float) -> float:
        """Standard deviation of a step's mean of these readings, spread over the dwell or longer, and of a visit."""
        cell_s = max(dwell_s / self.readings, CELL_S)
        r = prior_of(self.damping_s).alike([i * cell_s for i in range(self.readings)])
        own = self.reading_n**2 * (1.0 + (self.readings - 1) * r) + self.half_n**2 / 3.0
        return math.hypot(math.sqrt(own / self.readings), self.between_n)

    @property
    def said(self) -> str:
        return (
            f"{counted(self.readings, 'reading')} a position in steps of {2.0 * self.half_n:.2g} N, each off by "
            f"{self.reading_n:.1f} N, {self.between_n:.1f} N from visit to visit"
        )


def usual(readings: int, half_n: float, damping_s: float) -> ReadOff:
    """As it may be expected of such a display before anything is read."""
    return ReadOff(readings=readings, half_n=half_n, damping_s=damping_s, reading_n=prior_of(damping_s).usual_n)


def as_read(steps: Sequence[StepMean], scatter_n: float) -> ReadOff:
    """As this sweep's own readings show it. scatter_n: their standard deviation about their step's mean, which lacks
    the sway they share."""
    first = steps[0].readings[0]
    prior = prior_of(first.damping_s)
    r = statistics.fmean(prior.alike([one.t_s for one in step.readings]) for step in steps)
    return ReadOff(
        readings=min(len(step.readings) for step in steps),
        half_n=first.half_n,
        damping_s=first.damping_s,
        reading_n=scatter_n / math.sqrt(1.0 - r),
    )
