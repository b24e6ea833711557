"""What a rider's tests say about another day: where the onset will be, what is a real change, what one more sweep
brings. Every answer is averaged over the panel's posterior of the scatter between days and between sweeps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.panel import STEP_MM, Entry, Panel, grid_of, in_order, on_grid, own_onset, spread_out
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM
from daq.values import Z_95, Array, Likelihood

LIKELY = 0.95
DETECTABLE = Z_95
"""Standard normal, two-sided 95 %: the multiplier of the minimal detectable change (Weir 2005, J Strength Cond Res
19:231, from memory)."""
NEW_DAY = "another day"
NEGLIGIBLE = 1e-9
"""Scatter values with a smaller probability are left out: a learned panel excludes most of its grid."""


@dataclass(frozen=True, eq=False, slots=True)
class Foretold:
    """Where an onset will lie: probabilities over setbacks, rearmost first."""

    places_mm: Array
    p: Array

    @property
    def interval_mm(self) -> tuple[float | None, float | None]:
        """The central 95 %, foremost end first; None for an end that runs off the grid and is unknown."""
        below = np.cumsum(self.p)
        edges_mm = self.places_mm - 0.5 * STEP_MM  # each place's probability is spread over its own millimetre
        tail = 0.5 * (1.0 - LIKELY)
        rear, front = (float(np.interp(share, below, edges_mm)) for share in (tail, 1.0 - tail))
        ends = self.p[0] > tail, self.p[-1] > tail
        return None if ends[1] else front, None if ends[0] else rear

    @property
    def mean_mm(self) -> float:
        return float(self.p @ self.places_mm)

    @property
    def width_mm(self) -> float:
        """Of the 95 % interval; infinite if an end is unknown."""
        front, rear = self.interval_mm
        return math.inf if front is None or rear is None else rear - front

    def chance_behind(self, setback_mm: float) -> float:
        """The probability that the onset lies behind this setback, so that the hands carry more there."""
        edges_mm = np.append(self.places_mm + 0.5 * STEP_MM, self.places_mm[-1] - 0.5 * STEP_MM)
        return float(np.interp(-setback_mm, -edges_mm, np.append(0.0, np.cumsum(self.p))))


@dataclass(frozen=True, slots=True)
class OnsetChange:
    """How far the onset moved between two tests, mm, positive when the second lies further back."""

    change_mm: float
    interval_95_mm: tuple[float, float]
    detectable_mm: float
    """Two tests of this kind of an unchanged rider differ by less than this 95 times in 100."""


@dataclass(frozen=True, slots=True)
class Brings:
    """The 95 % interval for another day after one more test."""

    what: str
    width_mm: float


def another_day(tests: Sequence[Entry], found: Panel) -> Foretold:
    """The onset a sweep on another day is expected to show. tests: all of one rider."""
    tests = in_order(tests)
    places_mm = grid_of(tests)
    believed = found.weight > NEGLIGIBLE
    given = own_onset(tests, places_mm, believed)
    p = np.zeros(len(places_mm))
    for d, s in np.argwhere(believed):
        sd_mm = math.hypot(DAY_SDS_MM[d], SWEEP_SDS_MM[s])
        p += found.weight[d, s] * spread_out(given[d, s], sd_mm)
    return Foretold(places_mm, p / p.sum())


def today(test: Entry) -> Foretold:
    """The onset of this sweep itself, with a uniform prior."""
    places_mm = grid_of([test])
    log_p = on_grid(test, places_mm)
    p = np.exp(log_p - log_p.max())
    return Foretold(places_mm, p / p.sum())


def change(first: Entry, second: Entry, found: Panel) -> OnsetChange:
    """Between two sweeps of one rider; on the same day, the day's shift is in both and cancels."""
    a, b = (_of_itself(one) for one in (first, second))
    same_day = first.day == second.day
    variance = _variance(a) + _variance(b)
    change_mm = b.mean_mm - a.mean_mm
    half = DETECTABLE * math.sqrt(variance + found.scatter.of_difference_mm2(same_day=same_day))
    return OnsetChange(change_mm, (change_mm - half, change_mm + half), half)


def what_helps(tests: Sequence[Entry], found: Panel, *, like: Entry) -> tuple[Brings, ...]:
    """What would narrow the interval for another day, and the width each test would leave.

    like: one of the tests; the new one is ridden on its day, or another, and places its bend as precisely. Its result
    is unknown and assumed to be what is expected now.
    """
    expected_mm, sd_mm = another_day(tests, found).mean_mm, math.sqrt(variance_mm2(like))
    new = replace(like, likelihood=_normal(expected_mm, sd_mm), effects_mm=0.0)
    options: tuple[tuple[str, list[Entry]], ...] = (
        ("nothing more", []),
        ("one more sweep today", [new]),
        ("one twice as long today", [replace(new, likelihood=_normal(expected_mm, sd_mm / math.sqrt(2.0)))]),
        ("one on another day", [replace(new, day=NEW_DAY)]),
    )
    return tuple(Brings(what, another_day([*tests, *more], found).width_mm) for what, more in options)


def variance_mm2(test: Entry) -> float:
    """Variance of the bend's position by this sweep alone, within the ridden range."""
    return _variance(_of_itself(test))


def _of_itself(test: Entry) -> Foretold:
    """Within the ridden range only: what lies beyond has no distance."""
    told = test.likelihood
    places_mm: Array = told.rear_mm - told.step_mm * np.arange(len(told.log_l), dtype=np.float64) - test.effects_mm
    p: Array = np.exp(np.array(told.log_l, dtype=np.float64) - max(told.log_l))
    return Foretold(places_mm, p / p.sum())


def _variance(of: Foretold) -> float:
    return float(of.p @ (of.places_mm - of.mean_mm) ** 2)


def _normal(mean_mm: float, sd_mm: float) -> Likelihood:
    reach = max(6.0 * sd_mm, 2.0 * STEP_MM)
    at = np.arange(-reach, reach + STEP_MM, STEP_MM)
    log_l = -0.5 * (at / max(sd_mm, 0.3)) ** 2
    return Likelihood(mean_mm + reach, STEP_MM, tuple(log_l.tolist()), float(log_l[-1]), float(log_l[0]))
