"""Ready-made analyses for an archive: the mean of each step, sweep by sweep or of one table of all sweeps."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np

from daq.keep.package.parquet_columns import floats_of
from daq.keep.package.tables import read_columns
from daq.values import Array, Ints

STEP_MEANS = "step-means/1"
COLUMNS = ("hands_n", "saddle_n", "tilt_deg")


def step_means(folder: Path, table: Literal["strokes", "loads"] = "strokes") -> list[dict[str, Any]]:
    """Mean hand load, saddle load (N) and tilt (deg) of each step, over its strokes or over its scans."""
    step, *values = read_columns(folder, table, ("step", *COLUMNS))
    numbers, averaged, means = _grouped(_place(step), values)
    return [
        {"step": number, "averaged": count, **dict(zip(COLUMNS, mean, strict=True))}
        for number, count, mean in zip(numbers.tolist(), averaged.tolist(), means.T.tolist(), strict=True)
    ]


def all_step_means(path: Path) -> dict[str, list[Any]]:
    """The same of all sweeps in one Parquet table of strokes or scans, as columns by sweep and step.

    Sweeps may lie in any order; fastest when the rows of each lie together. Memory: 60 bytes a row.
    """
    import pyarrow as arrow
    import pyarrow.parquet as parquet

    with arrow.memory_map(str(path)) as file:
        read = parquet.ParquetFile(file, read_dictionary=["sweep"]).read(columns=["sweep", "step", *COLUMNS])
    sweep = read.column("sweep").unify_dictionaries().combine_chunks()
    step, *values = (floats_of(read.column(name).combine_chunks()) for name in ("step", *COLUMNS))
    place = _place(step)
    names, per_sweep = sweep.dictionary.to_pylist(), int(place.max(initial=0)) + 1
    groups = np.where(place > 0, sweep.indices.to_numpy() * per_sweep + place, 0)
    found, averaged, means = _grouped(groups, values)
    columns = [[names[at] for at in (found // per_sweep).tolist()], (found % per_sweep).tolist(), averaged.tolist()]
    return dict(zip(("sweep", "step", "averaged", *COLUMNS), [*columns, *means.tolist()], strict=True))


def _place(step: Array) -> Ints:
    """The step of each row, 0 in none."""
    return np.where(np.isnan(step), 0.0, step).astype(np.int64)


def _grouped(groups: Ints, values: Sequence[Array]) -> tuple[Ints, Ints, Array]:
    """The groups there are, without group 0; how many rows each has; the mean of each value in each."""
    if not len(groups):
        return np.empty(0, np.int64), np.empty(0, np.int64), np.empty((len(values), 0))
    starts = np.flatnonzero(np.diff(groups, prepend=-1))  # summing over runs of one group is fastest
    runs = groups[starts]
    averaged = np.bincount(runs, weights=np.diff(starts, append=len(groups))).astype(np.float64)
    found = np.flatnonzero(averaged[1:]) + 1
    means = np.array([_means(value, starts, runs, averaged)[found] for value in values])
    return found, averaged[found].astype(np.int64), means


def _means(value: Array, starts: Ints, runs: Ints, averaged: Array) -> Array:
    """Mean of the values of each group, without missing ones; NaN if none is left.

    starts and runs: where each run of one group begins, and which group it is; averaged: values of each group.
    """
    sums = np.bincount(runs, weights=np.add.reduceat(value, starts))
    if np.isnan(sums).any():
        known = ~np.isnan(value)
        sums = np.bincount(runs, weights=np.add.reduceat(np.where(known, value, 0.0), starts))
        averaged = np.bincount(runs, weights=np.add.reduceat(known, starts, dtype=np.int64)).astype(np.float64)
    with np.errstate(invalid="ignore"):
        means: Array = sums / averaged
    return means
