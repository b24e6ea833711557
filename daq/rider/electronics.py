"""The simulated jig's electronics: newtons and degrees to the counts a 24-bit converter reads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.values import Array, Bools

LOWEST, HIGHEST = -(1 << 23), (1 << 23) - 1
CELLS = ("hands_left", "hands_right", "saddle_nose", "saddle_rear")
CHANNELS = (*CELLS, "tilt")
GAIN = 128
"""At which sensitivities, zeros and noise are given."""
GAINS = (32, 64, GAIN)


@dataclass(frozen=True, slots=True)
class Electronics:
    """Sensitivities, zeros and noise of the channels, in the order of CHANNELS.

    Sizes: cells of 2 mV/V at 5 V and gain 128 (full scale 20 mV over 24 bits), 50 kg at the hands and 100 kg at the
    saddle, 8554 and 4277 counts per newton, each cell slightly different.
    """

    rate_hz: float = 100.0
    newtons_per_count: tuple[float, ...] = (1 / 8512.4, 1 / 8597.1, 1 / 4291.8, 1 / 4259.3)
    zero_counts: tuple[float, ...] = (41_211.0, -18_302.0, 90_331.0, 12_007.0, -137.0)
    """With nobody on the level jig; the last is the tilt channel level."""
    degrees_per_count: float = 0.001
    noise_counts: tuple[float, ...] = (240.0, 240.0, 240.0, 240.0, 15.0)
    """Standard deviation per scan."""
    gains: tuple[int, ...] = (GAIN, GAIN, GAIN, GAIN)
    """Of the amplifiers before the cells' converters."""
    fixture_cos_n: tuple[float, ...] = (8.0, 8.0, 12.0, 12.0)
    fixture_sin_n: tuple[float, ...] = (0.5, 0.5, 18.0, -18.0)
    """Weight of bar and saddle on the cells beyond what they show level: c (cos t - 1) + s sin t."""

    def __post_init__(self) -> None:
        cells = ("newtons_per_count", "fixture_cos_n", "fixture_sin_n", "gains")
        for name in (*cells, "zero_counts", "noise_counts"):
            n = len(CELLS) if name in cells else len(CHANNELS)
            if len(getattr(self, name)) != n:
                raise ValueError(f"{name}: expected {n} numbers, got {len(getattr(self, name))}")

    def tare_n(self, tilt_deg: Array) -> Array:
        """What the empty jig shows at this tilt beyond its level zero, (n, 4)."""
        t = np.radians(tilt_deg)[:, None]
        return np.asarray(np.array(self.fixture_cos_n) * (np.cos(t) - 1.0) + np.array(self.fixture_sin_n) * np.sin(t))

    def read(self, cells_n: Array, tilt_deg: Array, normals: Array) -> tuple[npt.NDArray[np.int32], Bools]:
        """Counts (n, 5) of forces (n, 4) and tilts (n,), and which scans (n,) hit an end of the converter.

        normals: standard normals (n, 5) for the noise.
        """
        per_unit = np.array([*(1.0 / n for n in self.newtons_per_count), 1.0 / self.degrees_per_count])
        seen = np.column_stack([cells_n + self.tare_n(tilt_deg), tilt_deg])
        amplified = np.array([*(gain / GAIN for gain in self.gains), 1.0])
        at_gain = np.array(self.zero_counts) + seen * per_unit + np.array(self.noise_counts) * normals
        exact = np.rint(at_gain * amplified)
        clipped = np.clip(exact, LOWEST, HIGHEST)
        return clipped.astype(np.int32), np.asarray((clipped != exact).any(axis=1))
