"""What repeated points alone say about a cell: how far rising and falling readings differ, and how well series
repeat."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.points import Points
from daq.values import Array


@dataclass(frozen=True, slots=True)
class Hysteresis:
    """Falling minus rising readings, means over the series, at the loads between zero and the highest."""

    largest: float
    of_rated: float
    """Over the rated output: the mean reading at the highest load minus that at the lowest."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """Readings of the same load, reached the same way."""

    sd: float
    dof: int
    largest: float
    """Between the highest and the lowest of one load."""


def hysteresis(points: Points) -> Hysteresis | None:
    """None without loads reached both ways."""
    _, parts = _both_ways(points)
    if not len(parts):
        return None
    low, high = (points.reading[points.load_n == end].mean() for end in (points.load_n.min(), points.load_n.max()))
    largest = float(parts[np.abs(parts).argmax()])
    return Hysteresis(largest, abs(largest / float(high - low)) if high != low else math.nan)


def loop_shape(points: Points) -> Array | None:
    """(n,) what a hysteresis loop of unit opening in the middle adds to each reading: half of load x (highest - load)
    over that in the middle, subtracted rising and added falling. None without loads reached both ways.
    """
    if not len(_both_ways(points)[0]):
        return None
    return np.asarray(np.where(np.array(points.falling), 0.5, -0.5) * _open(points.load_n, points.load_n))


def likely_loop(points: Points) -> Array:
    """(n,) the hysteresis in each reading, for the search for blunders: how open its loop is is the median over the
    loads that show it, so that one wrong weight does not matter."""
    shape, (loads_n, parts) = loop_shape(points), _both_ways(points)
    if shape is None:
        return np.zeros(len(points.load_n))
    return float(np.median(parts / _open(loads_n, points.load_n))) * shape


def repeatability(points: Points) -> Repeatability | None:
    """None if no load was reached twice the same way in different series."""
    if points.series is None:
        return None
    falling = np.zeros(len(points.load_n)) if points.falling is None else np.array(points.falling, dtype=np.float64)
    group = np.unique(np.column_stack([points.load_n, falling]), axis=0, return_inverse=True)[1].reshape(-1)
    same = [points.reading[group == one] for one in range(int(group.max()) + 1)]
    dof = sum(len(readings) - 1 for readings in same)
    if not dof:
        return None
    squares = sum(float(((readings - readings.mean()) ** 2).sum()) for readings in same)
    return Repeatability(math.sqrt(squares / dof), dof, max(float(np.ptp(readings)) for readings in same))


def _both_ways(points: Points) -> tuple[Array, Array]:
    """Loads between the ends that were reached both ways, and how much more falling reads there than rising."""
    if points.falling is None:
        return np.empty(0), np.empty(0)
    falling, load, ends = np.array(points.falling), points.load_n, (points.load_n.min(), points.load_n.max())
    both = [x for x in np.intersect1d(load[falling], load[~falling]) if x not in ends]
    means = [[points.reading[(load == x) & (falling == way)].mean() for way in (True, False)] for x in both]
    return np.array(both), np.array([down - up for down, up in means])


def _open(at_n: Array, load_n: Array) -> Array:
    """How open the loop is at these loads, over how open it is midway between the lowest and the highest."""
    low, high = float(load_n.min()), float(load_n.max())
    share = (at_n - low) / (high - low)
    return np.asarray(4.0 * share * (1.0 - share))
