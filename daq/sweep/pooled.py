"""All strokes of a sweep together: hand load of each step with its standard error, and the saddle as a witness."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep import sway
from daq.sweep.noise import PooledLevels, Series, as_series, smoothed
from daq.sweep.typed_levels import levels_of
from daq.values import Array, Bools, StepMean

LEAST_STROKES = 20
"""The minimum number of strokes, beyond one per step, for the model to be useful."""
TORQUE_STROKES = 9
"""Torque is averaged over this many strokes, about 6 s, before its effect is sought."""
SWAY_STROKES = 9
"""The saddle's share in the sway is estimated from means over this many strokes, to exclude stroke-to-stroke
scatter."""
SITS_AGAIN_N = 1.0
"""How well saddle load repeats after the rider has been off it; no dwell is long enough to do better."""
LEAST_WITNESS_N = 0.02
"""A witness with a smaller error is a copy of the hands, not an independent reading."""


@dataclass(frozen=True, eq=False, slots=True)
class Pooled:
    """What the strokes of all steps say about each step."""

    hands: PooledLevels
    witness: PooledLevels | None
    """Saddle load minus the part that follows the hands' sway; None if the saddle was not read, or copies the hands."""


def pooled(steps: Sequence[StepMean], levels: Callable[..., list[PooledLevels]] = sway.levels) -> Pooled | None:
    """The pooled model of all steps; None if a step has no strokes, or there are too few. levels: the model of sway,
    that of earlier methods or the current one. Estimator, tests of validity and pages ask for the same steps in turn,
    so the last results are cached.
    """
    if steps and all(step.readings for step in steps):
        return Pooled(levels_of(steps), None)
    return _pooled(_Steps(steps), levels)


class _Steps(tuple[StepMean, ...]):
    """Steps to look up. Equality compares everything; a few numbers are enough for the hash, which is taken anew each
    time."""

    __slots__ = ()

    def __hash__(self) -> int:
        return hash(tuple((step.t_min, step.hand_load_n) for step in self))


@functools.lru_cache(maxsize=4)
def _pooled(steps: _Steps, levels: Callable[..., list[PooledLevels]]) -> Pooled | None:
    counts = [len(step.strokes) for step in steps]
    if not counts or min(counts) < 1 or sum(counts) - len(steps) < LEAST_STROKES:
        return None
    rows = [[(s.mid_s, s.crank_torque_nm, s.hands_n, s.saddle_n) for s in step.strokes] for step in steps]
    filled, there = as_series(rows)
    t_s, torque_nm, hands_n, saddle_n = np.moveaxis(filled, -1, 0)
    series = Series(t_s, smoothed(torque_nm, there, TORQUE_STROKES), there)
    gamma = _share(hands_n, saddle_n, there)
    witness_n = saddle_n - gamma * hands_n
    read = bool(np.isfinite(witness_n).all())
    hands, *witness = levels(series, hands_n, witness_n) if read else levels(series, hands_n)
    return Pooled(hands, _of_its_own(witness[0]) if witness else None)


def _of_its_own(witness: PooledLevels) -> PooledLevels | None:
    """The witness with its standard errors; None for a copy of the hands."""
    if float(witness.se_n.min()) <= LEAST_WITNESS_N:
        return None
    return replace(witness, se_n=np.hypot(witness.se_n, SITS_AGAIN_N))


def _share(hands_n: Array, saddle_n: Array, there: Bools) -> float:
    """Regression of the saddle's sway on the hands' within steps, both averaged over some strokes."""
    slow = [smoothed(load, there, SWAY_STROKES) for load in (hands_n, saddle_n)]
    number = there.sum(axis=1, keepdims=True)
    hands, saddle = (np.where(there, x - (x * there).sum(axis=1, keepdims=True) / number, 0.0) for x in slow)
    spread = float(np.sum(hands**2))
    return float(np.sum(hands * saddle)) / spread if spread > 0.0 else 0.0
