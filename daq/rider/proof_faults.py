"""What can be wrong with a jig in a proof, and how it shows: for simulated proofs. A model. It is independent of how a
proof finds it: here a setback on the scale becomes the saddle's true position, and loads on bar and saddle become what
the cells see.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.values import Array

HALVINGS = 50
MIDDLE_MM = 60.0
"""Where a scale of the wrong length reads right."""


@dataclass(frozen=True, slots=True)
class JigFaults:
    """The faults of a jig; numbers, or arrays for many jigs."""

    gain: npt.ArrayLike = 0.0
    """Of the cells at the hands, relative."""
    crosstalk: npt.ArrayLike = 0.0
    """Of a load on the saddle, shown at the hands."""
    stop_n: npt.ArrayLike = np.inf
    """Load on the bar at which a stop touches."""
    stop_takes: float = 0.5
    """Fraction lost of the load beyond that."""
    offset_mm: npt.ArrayLike = 0.0
    """True position of the saddle minus the scale's reading."""
    slope: npt.ArrayLike = 0.0
    backlash_mm: npt.ArrayLike = 0.0
    tilt_deg: npt.ArrayLike = 0.0
    """Shown minus true."""
    gives_mm_per_n: npt.ArrayLike = 0.0
    """How far bar and frame come towards the saddle under a load on the bar."""

    def setback_mm(self, reading_mm: npt.ArrayLike, forward: npt.ArrayLike) -> Array:
        """The saddle's true position at a scale reading; forward: it came from behind."""
        reading = np.asarray(reading_mm, dtype=float)
        play = np.where(forward, 0.5, -0.5) * np.asarray(self.backlash_mm, float)
        return np.asarray(
            reading + np.asarray(self.offset_mm, float) + np.asarray(self.slope, float) * (reading - MIDDLE_MM) + play
        )

    def shown_n(self, hands_n: npt.ArrayLike, saddle_n: npt.ArrayLike) -> tuple[Array, Array]:
        """(hands, saddle): what the cells show of loads on bar and saddle."""
        hands, saddle = np.asarray(hands_n, dtype=float), np.asarray(saddle_n, dtype=float)
        reaches = hands - self.stop_takes * np.maximum(hands - np.asarray(self.stop_n, float), 0.0)
        return np.asarray(
            (1.0 + np.asarray(self.gain, float)) * reaches + np.asarray(self.crosstalk, float) * saddle
        ), saddle

    def pulled_n(self, pull_n: Callable[[float], float], setback_mm: float) -> float:
        """Load on the bar of springs that pull so much at a setback, of which a frame that gives way takes some.

        The balance of spring and frame by bisection: what the springs pull falls as the frame gives.
        """
        gives = float(np.asarray(self.gives_mm_per_n))
        low, high = 0.0, pull_n(setback_mm)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if pull_n(setback_mm + gives * middle) > middle else (low, middle)
        return high


FAULTS: dict[str, JigFaults] = {
    "gain": JigFaults(gain=0.02),
    "backlash": JigFaults(backlash_mm=1.0),
    "offset": JigFaults(offset_mm=3.0),
    "crosstalk": JigFaults(crosstalk=0.02),
    "stop": JigFaults(stop_n=80.0),
    "tilt": JigFaults(tilt_deg=0.3),
    "flex": JigFaults(gives_mm_per_n=0.05),
}
"""Faults to try a proof with, by name."""
