"""What a rider's tests say of another day: where the onset will be, what is a real change, what one more sweep brings.

Every answer is averaged over what the panel believes of the spreads between days and between sweeps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.panel import (
    DAY_SDS_MM,
    STEP_MM,
    SWEEP_SDS_MM,
    Entry,
    Panel,
    grid_of,
    in_order,
    on_grid,
    own_onset,
    spread_out,
)
from daq.values import Array, Likelihood

LIKELY = 0.95
DETECTABLE = 1.96
"""Standard normal, two-sided 95 %: the multiplier of the minimal detectable change (Weir 2005, J Strength Cond Res
19:231, from memory)."""
NEW_DAY = "another day"
NEGLIGIBLE = 1e-9
"""Spreads believed in less than this are left out: a learned panel knows better than most of its grid."""


@dataclass(frozen=True, eq=False, slots=True)
class Foretold:
    """Where an onset will lie: probabilities over places, rearmost first."""

    places_mm: Array
    p: Array

    @property
    def interval_mm(self) -> tuple[float | None, float | None]:
        """The central 95 %, foremost end first; None where it runs off the grid: it is not known how far."""
        below = np.cumsum(self.p)
        edges_mm = self.places_mm - 0.5 * STEP_MM  # a place's probability is spread over the millimetre around it
        tail = 0.5 * (1.0 - LIKELY)
        rear, front = (float(np.interp(share, below, edges_mm)) for share in (tail, 1.0 - tail))
        ends = self.p[0] > tail, self.p[-1] > tail
        return None if ends[1] else front, None if ends[0] else rear

    @property
    def mean_mm(self) -> float:
        return float(self.p @ self.places_mm)

    @property
    def width_mm(self) -> float:
        """Of the 95 % interval; infinite where an end is not known."""
        front, rear = self.interval_mm
        return math.inf if front is None or rear is None else rear - front

    def chance_behind(self, setback_mm: float) -> float:
        """The chance that the onset lies behind this setback: that the hands carry more there."""
        return float(self.p[self.places_mm > setback_mm].sum() + 0.5 * self.p[self.places_mm == setback_mm].sum())


@dataclass(frozen=True, slots=True)
class Change:
    """How far the onset moved between two tests, mm, positive when the second lies further back."""

    change_mm: float
    interval_95_mm: tuple[float, float]
    detectable_mm: float
    """A change below this is what two tests of this kind show of a rider who has not changed, 95 times in 100."""


@dataclass(frozen=True, slots=True)
class Brings:
    """What one more test would leave of the 95 % interval for another day."""

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
    """The onset of this sweep itself, every place equally likely beforehand."""
    places_mm = grid_of([test])
    log_p = on_grid(test, places_mm)
    p = np.exp(log_p - log_p.max())
    return Foretold(places_mm, p / p.sum())


def change(first: Entry, second: Entry, found: Panel) -> Change:
    """Between two sweeps of one rider; of one day the day's own shift is in both and drops out."""
    a, b = (_of_itself(one) for one in (first, second))
    same_day = first.day == second.day
    variance = _variance(a) + _variance(b)
    spread = found.variance_mm2 if not same_day else float(found.weight.sum(axis=0) @ SWEEP_SDS_MM**2)
    change_mm = b.mean_mm - a.mean_mm
    half = DETECTABLE * math.sqrt(variance + 2.0 * spread)
    return Change(change_mm, (change_mm - half, change_mm + half), half)


def detectable_mm(tests: Sequence[Entry], found: Panel) -> float:
    """Minimal detectable change between two single tests of this kind on two days."""
    measured = float(np.median([variance_mm2(one) for one in tests]))
    return DETECTABLE * math.sqrt(2.0 * (measured + found.variance_mm2))


def what_helps(tests: Sequence[Entry], found: Panel, *, like: Entry) -> tuple[Brings, ...]:
    """What would narrow the interval for another day, and the width each test would leave.

    like: one of the tests; a new one is ridden on its day, or another, and places its bend as surely. What it will say
    is not known: it is taken to say what is expected now.
    """
    last = like
    expected_mm, sd_mm = another_day(tests, found).mean_mm, math.sqrt(variance_mm2(last))
    new = replace(last, likelihood=_normal(expected_mm, sd_mm), effects_mm=0.0)
    options: tuple[tuple[str, list[Entry]], ...] = (
        ("nothing more", []),
        ("one more sweep today", [new]),
        ("one twice as long today", [replace(new, likelihood=_normal(expected_mm, sd_mm / math.sqrt(2.0)))]),
        ("one on another day", [replace(new, day=NEW_DAY)]),
    )
    return tuple(Brings(what, another_day([*tests, *more], found).width_mm) for what, more in options)


def variance_mm2(test: Entry) -> float:
    """Of the bend's place by this sweep alone, over the places ridden."""
    return _variance(_of_itself(test))


def _of_itself(test: Entry) -> Foretold:
    """Of the places ridden alone: what lies beyond them has no distance."""
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
