"""The proof dummy: a rope and springs in a rider's place, with a known onset. Drawn and described
in firmware_notes/proof_dummy.md.

A wire rope, tied to the saddle's carriage under its cells, runs over pulleys on the frame and comes up under the bar. A
ball on it lies over a plate that hangs from the bar on a spring. While the saddle is behind the onset the ball hangs
free over the plate; coming forward it lands, and from there on stretches the spring:

    hands = rate x (onset - setback)         forward of the onset, 0 behind it

The spring is at the bar, so its stretch follows from the saddle's way alone: friction in the pulleys changes the rope's
pull behind them, not the load on the bar. The rope's own stretch acts as a second spring in series. Pure statics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.physics import STANDARD_G_M_S2
from daq.values import Array

BAR_LIMIT_N = 150.0
"""Of the dummy: half the rating of rope, spring and hooks. No position is requested at which it would pull more."""


@dataclass(frozen=True, slots=True)
class Springs:
    """Springs side by side at the bar, each with its own plate."""

    rates_n_per_mm: tuple[float, ...]
    """Each with the rope in series, measured with hung weights."""
    later_mm: tuple[float, ...] = (0.0,)
    """How much further forward each plate is met than the first; more than one makes the rise gradual."""
    angle_deg: float = 0.0
    """Of the rope's last length against the jig's normal."""

    def hands_n(self, setback_mm: npt.ArrayLike, onset_mm: npt.ArrayLike) -> Array:
        """Load on the bar along the jig's normal, N; the setback where the first plate is met is the onset."""
        ahead_mm = np.asarray(onset_mm, dtype=float) - np.asarray(setback_mm, dtype=float)
        pulls = zip(self.rates_n_per_mm, self.later_mm, strict=True)
        pull_n = sum(rate * np.maximum(ahead_mm - later, 0.0) for rate, later in pulls)
        return np.asarray(pull_n * math.cos(math.radians(self.angle_deg)))


@dataclass(frozen=True, slots=True)
class Plank:
    """A plank pinned at the saddle and lying on a roller at the bar, with a mass on it: load that both share."""

    mass_kg: float
    """Plank and mass."""
    ahead_m: float
    """Their centre ahead of the pin, along the jig."""
    above_m: float
    """Above the line from pin to roller."""
    bar_x_m: float
    """The roller, forward of the BB."""
    pin_behind_mm: float = 0.0
    """The pin behind the saddle's reference point."""

    def loads_n(
        self, setback_mm: npt.ArrayLike, tilt_deg: npt.ArrayLike, g_m_s2: float = STANDARD_G_M_S2
    ) -> tuple[Array, Array]:
        """(hands, saddle) along the jig's normal, N: moments about the pin, m g (a cos t - h sin t) / L."""
        t = np.radians(tilt_deg)
        length_m = self.bar_x_m + (np.asarray(setback_mm, dtype=float) + self.pin_behind_mm) / 1000.0
        weight_n = self.mass_kg * g_m_s2
        hands_n = weight_n * (self.ahead_m * np.cos(t) - self.above_m * np.sin(t)) / length_m
        return np.asarray(hands_n), np.asarray(weight_n * np.cos(t) - hands_n)


def onset_of_slack(caliper_mm: npt.ArrayLike, gap_mm: npt.ArrayLike) -> Array:
    """The dummy's onset: where the saddle stood, by caliper from the BB, less the gap under the ball there."""
    return np.asarray(np.asarray(caliper_mm, dtype=float) - np.asarray(gap_mm, dtype=float))
