"""A ready-made analysis for an archive: the mean of each step."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import numpy as np

from daq.keep.package.tables import read_columns
from daq.values import Array, Ints

STEP_MEANS = "step-means/1"
COLUMNS = ("hands_n", "saddle_n", "tilt_deg")


def step_means(folder: Path, table: Literal["strokes", "loads"] = "strokes") -> list[dict[str, Any]]:
    """Mean hand load, saddle load (N) and tilt (deg) of each step, over its strokes or over its scans."""
    step, *values = read_columns(folder, table, ("step", *COLUMNS))
    if not len(step):
        return []
    place = np.where(np.isnan(step), 0.0, step).astype(np.int64)  # 0: in no step
    starts = np.flatnonzero(np.diff(place, prepend=-1))  # summing over runs of one step is fastest
    runs = place[starts]
    averaged = np.bincount(runs, weights=np.diff(starts, append=len(place))).astype(np.float64)
    numbers = np.flatnonzero(averaged[1:]) + 1
    means = np.array([_means(value, starts, runs, averaged)[numbers] for value in values]).T.tolist()
    return [
        {"step": number, "averaged": count, **dict(zip(COLUMNS, mean, strict=True))}
        for number, count, mean in zip(
            numbers.tolist(), averaged[numbers].astype(np.int64).tolist(), means, strict=True
        )
    ]


def _means(value: Array, starts: Ints, runs: Ints, averaged: Array) -> Array:
    """Mean of the values of each step, without missing ones; NaN if none is left.

    starts and runs: where each run of one step begins, and which step it is; averaged: values of each step.
    """
    sums = np.bincount(runs, weights=np.add.reduceat(value, starts))
    if np.isnan(sums).any():
        known = ~np.isnan(value)
        sums = np.bincount(runs, weights=np.add.reduceat(np.where(known, value, 0.0), starts))
        averaged = np.bincount(runs, weights=np.add.reduceat(known, starts, dtype=np.int64)).astype(np.float64)
    with np.errstate(invalid="ignore"):
        means: Array = sums / averaged
    return means
