"""A stretch of scans as one reading: mean, scatter, drift, and whether a converter was saturated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.points import ENDS_OF_RANGE

FEWEST_SCANS = 10


@dataclass(frozen=True, slots=True)
class Settled:
    """One reading of k channels, in counts."""

    mean: tuple[float, ...]
    sd: tuple[float, ...]
    """Scatter of single scans about their drift."""
    drift: tuple[float, ...]
    """Change from the first to the last scan by the line through all."""
    saturated: tuple[bool, ...]
    """A scan was at the end of the scale of a 24 or 32 bit converter."""
    scans: int
    seconds: float


def settled(t_s: npt.ArrayLike, counts: npt.ArrayLike) -> Settled:
    """The reading of scans (n, k) at times (n,). ValueError for fewer than 10 scans: too few to estimate scatter."""
    t, c = np.asarray(t_s, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    if c.ndim != 2 or len(t) != len(c):
        raise ValueError(f"expected scans of several channels with a time each, got {c.shape} at {t.shape}")
    if len(t) < FEWEST_SCANS or t[-1] <= t[0]:
        raise ValueError(f"a reading needs at least {FEWEST_SCANS} scans in order of time, got {len(t)}; wait longer")
    mean = c.mean(axis=0)
    away = (t - t.mean()) / (t[-1] - t[0])
    drift = away @ (c - mean) / (away @ away)
    rest = c - mean - np.outer(away, drift)
    sd = np.sqrt((rest**2).sum(axis=0) / (len(t) - 2))
    ends = [bool(np.isin(column, ENDS_OF_RANGE).any()) for column in c.T]
    return Settled(
        tuple(mean.tolist()),
        tuple(sd.tolist()),
        tuple(drift.tolist()),
        tuple(ends),
        len(t),
        float(t[-1] - t[0]),
    )
