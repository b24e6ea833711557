"""A rider who follows a move of the saddle slowly: which earlier positions still affect a step's mean and its trend.
Posture relaxes towards the level of the position, with one time constant tau per rider and sweep: load(t) = L(place) +
(load at the move - L(place)) exp(-(t - moved) / tau)

It goes on relaxing until the next move, so what it is at a move follows from all moves before. All of that is linear
in the loads L of the places: a step's mean is a weighted mean of L over this and the earlier steps, and what is left
to go shows as a trend within the dwell. tau = 0 is a rider who has arrived. Sway and torque act at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep.noise import as_series
from daq.values import Array, StepMean

SETTLED_S = 8.0
"""From the move to the first stroke that counts, if the move's time is unknown. Common practice, no source."""


@dataclass(frozen=True, eq=False, slots=True)
class Dwells:
    """When n steps were moved to and averaged, minutes, in the order of the steps."""

    moved_min: Array
    seen_min: Array
    """(n, m) instants averaged, each row padded with its last one."""
    weight: Array
    """(n, m) of each instant in its row's mean; 0 for padding."""
    confirmed: bool
    """Whether every step states the time of its move; otherwise moves are inferred from the strokes."""


def dwells(steps: Sequence[StepMean]) -> Dwells | None:
    """None if the steps' times are unknown, or two steps have the same."""
    t_min = np.array([step.t_min for step in steps])
    if not np.isfinite(t_min).all() or len(np.unique(t_min)) < len(t_min):
        return None
    moved_min = np.array([step.moved_min for step in steps])
    if not all(step.strokes for step in steps):
        moved_min = np.where(np.isfinite(moved_min), moved_min, _half_way(t_min))
        return Dwells(moved_min, t_min[:, None], np.ones((len(steps), 1)), False)
    mids_s, there = as_series([[(stroke.mid_s,) for stroke in step.strokes] for step in steps])
    counts = there.sum(axis=1, keepdims=True)
    last = np.minimum(np.arange(there.shape[1]), counts - 1)
    seen_min = np.take_along_axis(mids_s[..., 0] / 60.0, last, axis=1)
    weight = there / counts
    told = moved_min <= seen_min[:, 0]
    moved_min = np.where(told, moved_min, seen_min[:, 0] - SETTLED_S / 60.0)
    return Dwells(moved_min, seen_min, weight, bool(told.all()))


def _half_way(t_min: Array) -> Array:
    """Moves half-way between the middles of the steps: dwell and move take about as long."""
    order = np.argsort(t_min)
    gaps = np.diff(t_min[order])
    moved = np.empty_like(t_min)
    moved[order] = t_min[order] - 0.5 * np.append(np.median(gaps), gaps)
    return moved


def operators(times: Dwells, lags_s: Array) -> tuple[Array, Array]:
    """Weights (L, n, n + 1) of the n places' loads in each step's mean, and in the change over its dwell, for each of L
    time constants above 0.

    The last column belongs to the rider's initial deviation from the first position's load.
    """
    n = len(times.moved_min)
    itself = np.eye(n, n + 1)
    rate = -60.0 / lags_s[:, None]
    order = np.argsort(times.moved_min)
    kept = np.exp(rate * np.diff(times.moved_min[order]))
    brought = np.empty((len(lags_s), n, n + 1))
    now = np.tile(itself[order[0]], (len(lags_s), 1))
    now[:, n] = 1.0
    for k, step in enumerate(order):
        brought[:, step] = now
        if k < n - 1:
            now = (1.0 - kept[:, k, None]) * itself[step] + kept[:, k, None] * now
    left = np.exp(rate[..., None] * (times.seen_min - times.moved_min[:, None]))
    still = (times.weight * left).sum(axis=-1)
    return itself + still[..., None] * (brought - itself), _trend(times, left)[..., None] * (brought - itself)


def _trend(times: Dwells, left: Array) -> Array:
    """(L, n) change over a dwell, from first to last instant, of a line through the remaining relaxation, (L, n, m); 0
    for a single instant."""
    first, last = times.seen_min[:, :1], times.seen_min[:, -1:]
    at = (times.seen_min - (times.weight * times.seen_min).sum(axis=1)[:, None]) / np.maximum(last - first, 1e-9)
    spread = (times.weight * at**2).sum(axis=1)
    return np.asarray((times.weight * at * left).sum(axis=-1) / np.maximum(spread, 1e-9))
