"""What one workshop has learned from its repeats, as a table another workshop can start with. It contains no rider.

JSON: {"kind": "foreaft panel prior", "version": 2, "method", "workshop", "made_utc",
       "simulated", "workshops", "riders", "days", "sweeps",
       "day_sd_mm": [[sd, weight], ...], "sweep_sd_mm": [[sd, weight], ...]}

Version 1 had a shorter grid between days: what it does not know of has no weight.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from daq.sweep.panel import Panel
from daq.sweep.pooling import PooledWorkshops
from daq.sweep.spreads import DAY_SDS_MM, METHOD, SWEEP_SDS_MM, SpreadPriors
from daq.text import checked_line
from daq.values import Array

KIND, VERSION = "foreaft panel prior", 2
DAY_SDS = {1: 14, VERSION: len(DAY_SDS_MM)}
"""How many standard deviations between days each version has."""
LONGEST_NAME = 80


class BadPrior(ValueError):
    """The table is invalid; the text says why."""


def prior_of(found: Panel, pooled: PooledWorkshops, made_utc: str, *, simulated: bool = False) -> dict[str, Any]:
    """The table: what another workshop may expect. Counts say how much data is behind it; it contains no pseudonym, no
    date of a test, no onset and no name of a workshop but the one it is known by."""
    priors = pooled.another
    return {
        "kind": KIND,
        "version": VERSION,
        "method": METHOD,
        "workshop": priors.name,
        "made_utc": made_utc,
        "simulated": simulated,
        "workshops": len(pooled.each),
        "riders": found.riders,
        "days": found.days,
        "sweeps": found.sweeps,
        "day_sd_mm": np.column_stack([DAY_SDS_MM, priors.day]).tolist(),
        "sweep_sd_mm": np.column_stack([SWEEP_SDS_MM, priors.sweep]).tolist(),
    }


def priors_in(content: Any) -> SpreadPriors:
    """Another workshop's table as priors. BadPrior."""
    if not isinstance(content, Mapping) or content.get("kind") != KIND:
        raise BadPrior("not a table of spreads: expected what foreaft panel --write-prior writes")
    version = content.get("version")
    if not isinstance(version, int) or version not in DAY_SDS:
        raise BadPrior(f"version {str(version)[:9]} of the table is not known; this program reads 1 to {VERSION}")
    name = content.get("workshop")
    if not isinstance(name, str) or not 0 < len(name) <= LONGEST_NAME:
        raise BadPrior(f"workshop: expected a name of 1 to {LONGEST_NAME} characters")
    try:
        checked_line(name)
    except ValueError as error:
        raise BadPrior(f"workshop: {error}") from None
    day = np.zeros(len(DAY_SDS_MM))
    day[: DAY_SDS[version]] = _weights(content, "day_sd_mm", DAY_SDS_MM[: DAY_SDS[version]])
    named = f"{name} (simulated riders)" if content.get("simulated") is True else name
    return SpreadPriors(day, _weights(content, "sweep_sd_mm", SWEEP_SDS_MM), named)


def _weights(content: Mapping[str, Any], key: str, grid_mm: Array) -> Array:
    rows = content.get(key)
    if not isinstance(rows, Sequence) or len(rows) != len(grid_mm):
        raise BadPrior(f"{key}: expected {len(grid_mm)} pairs of a standard deviation and its weight")
    for row, sd_mm in zip(rows, grid_mm.tolist(), strict=True):
        pair = isinstance(row, Sequence) and len(row) == 2 and all(isinstance(value, int | float) for value in row)
        if not pair or row[0] != sd_mm or not (math.isfinite(row[1]) and 0.0 <= row[1] <= 1.0):
            raise BadPrior(f"{key}: expected {sd_mm:g} mm and a weight from 0 to 1, got {str(row)[:40]}")
    weights = np.array([row[1] for row in rows], dtype=np.float64)
    if not 0.999 < weights.sum() < 1.001:
        raise BadPrior(f"{key}: the weights sum to {weights.sum():.3f}, expected 1")
    return np.asarray(weights / weights.sum())
