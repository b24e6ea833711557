"""Torque over the turn of the crank, from sensors that send it, and the angles such sensors report. A sensor in one
leg's pedal or crank arm sees that leg alone, so top and bottom are separate. A sensor in the spider or the bottom
bracket sees the sum of both legs, where top and bottom cannot be told apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.values import NAN, Array, Ints
from daq.words import counted

BINS = 24
"""15 degrees each; sensors send 4 to 50 samples a turn, the gaps move from turn to turn."""
FEWEST_TURNS = 8
NEAR_DEG = 30.0
"""Half width of the windows about top and bottom."""
BOTH_LEGS = "top and bottom of the stroke are not visible apart: this sensor adds both legs"


@dataclass(frozen=True, eq=False, slots=True)
class TurnTorque:
    """Torque over the turn: (BINS,) means with standard errors from turn to turn, NaN for empty bins."""

    angle_deg: Array
    """Middle of each bin, from the top of the leg the sensor sits on."""
    torque_nm: Array
    se_nm: Array
    mean_nm: float
    top: tuple[float, float]
    """Torque within NEAR_DEG of the top over the mean torque, and its standard error: the push over the top."""
    bottom: tuple[float, float]
    turns: int
    limits: tuple[str, ...]


def torque_over_turn(angle_deg: Array, torque_nm: Array, turn: Ints, *, both_legs: bool) -> TurnTorque:
    """Torque over the turn from samples (n,) with the turn each belongs to. Turns are treated as independent."""
    bins = (np.asarray(angle_deg) % 360.0 // (360.0 / BINS)).astype(np.int64)
    kinds, row = np.unique(turn, return_inverse=True)
    sums, counts = np.zeros((2, len(kinds), BINS))
    np.add.at(sums, (row, bins), torque_nm)
    np.add.at(counts, (row, bins), 1.0)
    per_turn = np.divide(sums, counts, out=np.full_like(sums, NAN), where=counts > 0)
    middles = (np.arange(BINS) + 0.5) * 360.0 / BINS
    means, errors = _over_turns(per_turn)
    mean_nm = float(np.nanmean(means)) if np.isfinite(means).any() else NAN
    limits = [BOTH_LEGS] if both_legs else []
    if len(kinds) < FEWEST_TURNS:
        limits.append(f"{counted(len(kinds), 'turn')} with torque; dead spots need at least {FEWEST_TURNS}")
    top, bottom = (
        _near(per_turn, middles, centre, mean_nm) if len(kinds) >= FEWEST_TURNS else (NAN, NAN)
        for centre in (0.0, 180.0)
    )
    return TurnTorque(middles, means, errors, mean_nm, top, bottom, len(kinds), tuple(limits))


def _over_turns(values: Array) -> tuple[Array, Array]:
    """Mean and standard error down the columns (K, m), NaN left out."""
    known = np.isfinite(values)
    n = known.sum(axis=0)
    filled = np.where(known, values, 0.0)
    mean = np.divide(filled.sum(axis=0), n, out=np.full(values.shape[1], NAN), where=n > 0)
    squares = np.where(known, (values - mean) ** 2, 0.0).sum(axis=0)
    error = np.sqrt(np.divide(squares, n * (n - 1.0), out=np.full(values.shape[1], NAN), where=n > 1))
    return mean, error


def _near(per_turn: Array, middles: Array, centre_deg: float, mean_nm: float) -> tuple[float, float]:
    """Torque near an angle over the mean torque, and its standard error from turn to turn.

    Bins have equal weight in the value, however many turns filled them; each turn's scatter is computed about the bins
    it filled.
    """
    inside = np.abs((middles - centre_deg + 180.0) % 360.0 - 180.0) < NEAR_DEG
    means, _ = _over_turns(per_turn[:, inside])
    if not np.isfinite(means).all() or mean_nm <= 0.0:
        return NAN, NAN
    known = np.isfinite(per_turn[:, inside])
    departures = np.where(known, per_turn[:, inside] - means, 0.0)
    filled = known.any(axis=1)
    per = departures[filled].sum(axis=1) / known[filled].sum(axis=1)
    return float(means.mean()) / mean_nm, float(per.std(ddof=1)) / math.sqrt(int(filled.sum())) / mean_nm


def mean_angle_deg(angles_deg: Array) -> tuple[float, float]:
    """Mean direction of the angles a sensor reported, 0 to 360, and its standard error; NaN for fewer than 2.

    Mardia & Jupp 2000, Directional Statistics: atan2 of the mean sine and cosine; the error from the spread across
    the mean direction.
    """
    angles = np.radians(np.asarray(angles_deg, dtype=np.float64))
    angles = angles[np.isfinite(angles)]
    if len(angles) < 2:
        return NAN, NAN
    mean = math.atan2(float(np.sin(angles).mean()), float(np.cos(angles).mean()))
    length = math.hypot(float(np.sin(angles).mean()), float(np.cos(angles).mean()))
    across = float(np.sqrt(np.mean(np.sin(angles - mean) ** 2)))
    return math.degrees(mean) % 360.0, math.degrees(across / (length * math.sqrt(len(angles))))
