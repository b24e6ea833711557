"""What all tests of a workshop teach: spreads between days and sweeps, what else moves an onset, how far to trust one.

The panel knows riders, days and sweeps. A record knows more of each test: gradient, bar, time of day, rig. What differs
among the tests is estimated as an effect and taken off before the spreads are read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.another_day import DETECTABLE, variance_mm2
from daq.sweep.effects import GRADIENT, Effects, OnsetEffect, estimated, moved
from daq.sweep.panel import Entry, Panel, panel
from daq.sweep.pooling import PooledWorkshops, pooled
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, SpreadPriors
from daq.values import Array

REPEATABILITY = DETECTABLE * math.sqrt(2.0)
"""Times the standard deviation: the difference two results exceed once in twenty, 2.8 when rounded (ISO 5725-6, 4.1;
from memory)."""
ENOUGH_DAYS = 5
"""Fewer second days teach a standard deviation to a factor of two at best."""
WANTED_SHARE = 0.25
"""How well a workshop wants to know how far tests on two days lie apart."""
AFTERNOON_H = 12.0
PER_HOURS = 6.0
"""The effect of the time of day is per this many hours after noon."""
APART = 0.1
"""In the units of the columns, per cent of climb or six hours: two tests closer than that teach nothing of it."""


@dataclass(frozen=True, slots=True)
class KnownTest:
    """One test with what its record knows of it."""

    sweep: str
    """What it is called where it is kept."""
    client: str
    """Whose. Of the entry, the rider is this client on one saddle: another saddle has an onset of its own."""
    entry: Entry
    verdict: str
    slope_n_per_mm: float
    gradient_pct: float
    bar_fixed: bool
    hour: float
    """Local time of day."""
    rig: str
    fitter: str = ""
    """Who decided at that visit; empty: not known."""
    reference: str = ""
    """The point of the saddle to which setbacks were measured; empty: not known."""
    workshop: str = ""
    """Where it was ridden; empty: here."""


@dataclass(frozen=True, eq=False, slots=True)
class Taught:
    """What the tests taught."""

    tests: tuple[KnownTest, ...]
    """In the panel's order, effects taken off."""
    panel: Panel
    effects: Effects | None
    """None where the tests do not differ in anything the records know."""

    @property
    def entries(self) -> list[Entry]:
        return [one.entry for one in self.tests]

    def of(self, rider: str) -> list[Entry]:
        """One rider's tests."""
        return [one.entry for one in self.tests if one.entry.rider == rider]

    @property
    def clients(self) -> int:
        """How many people: one who was tested on two saddles is two riders of the panel."""
        return len({one.client for one in self.tests})

    @property
    def day_interval_mm(self) -> tuple[float, float]:
        """95 % interval of the sd between days."""
        return interval_mm(DAY_SDS_MM, self.panel.weight.sum(axis=1))

    @property
    def sweep_interval_mm(self) -> tuple[float, float]:
        """95 % interval of the sd between sweeps of one day."""
        return interval_mm(SWEEP_SDS_MM, self.panel.weight.sum(axis=0))

    @property
    def placing_mm(self) -> float:
        """How well one sweep places its own bend: the median standard deviation over the places ridden."""
        return math.sqrt(float(np.median([variance_mm2(one) for one in self.entries])))

    @property
    def repeatability_limit_mm(self) -> float:
        """Two sweeps of one rider, day and jig differ by more once in twenty."""
        return REPEATABILITY * math.sqrt(self.panel.scatter.sweep_mm2 + self.placing_mm**2)

    @property
    def between_days_limit_mm(self) -> float:
        """The same on two days: intermediate precision, different days, in the terms of ISO 5725-3, and the minimal
        detectable change between two single tests."""
        return REPEATABILITY * math.sqrt(self.panel.variance_mm2 + self.placing_mm**2)

    @property
    def more_days(self) -> int:
        """Second days still to ride until it is known to WANTED_SHARE how far tests on two days lie apart.

        A standard deviation from n differences has a relative standard error of 1/sqrt(2 n) (normal errors, textbook).
        """
        return max(0, math.ceil(0.5 / WANTED_SHARE**2) - self.panel.second_days)

    @property
    def enough(self) -> bool:
        """Whether the spread between days is the tests' word: repeats on one day say nothing of it."""
        return self.panel.second_days >= ENOUGH_DAYS


def taught(tests: Sequence[KnownTest], priors: SpreadPriors | None = None) -> Taught:
    """The panel of these tests with their known effects taken off. ValueError without a test."""
    if not tests:
        raise ValueError("tests: expected at least one sweep with its likelihood")
    tests = sorted(tests, key=lambda one: (one.entry.rider, one.entry.day))
    entries = [one.entry for one in tests]
    columns, effects = _columns(tests)
    if not effects:
        return Taught(tuple(tests), panel(entries, priors), None)
    beforehand = moved(entries, columns @ np.array([one.mean_mm for one in effects]))
    found = estimated(entries, columns, effects, panel(beforehand, priors))
    entries = moved(entries, columns @ found.mm)
    tests = [replace(one, entry=entry) for one, entry in zip(tests, entries, strict=True)]
    return Taught(tuple(tests), panel(entries, priors), found)


def pooled_workshops(found: Taught, name: str) -> PooledWorkshops:
    """Each workshop's spreads, and those of another one. name: what the whole is called."""
    names = {one.workshop for one in found.tests}
    alike = found.panel.priors
    return pooled(
        {each: panel([one.entry for one in found.tests if one.workshop == each], alike) for each in names}, name
    )


def apart(tests: Sequence[KnownTest], by: Callable[[KnownTest], str]) -> dict[str, Taught]:
    """The same for each group with enough second days of its own: by rig, by fitter."""
    found = {}
    for name in sorted({by(one) for one in tests} - {""}):
        one = taught([each for each in tests if by(each) == name])
        if one.enough:
            found[name] = one
    return found if len(found) > 1 else {}


def _columns(tests: Sequence[KnownTest]) -> tuple[Array, list[OnsetEffect]]:
    """What differs among the tests of a rider, as columns about what is usual, and what is believed of each."""
    rigs = [one.rig for one in tests]
    usual = max(sorted(set(rigs)), key=rigs.count)
    candidates = [
        (GRADIENT, np.array([one.gradient_pct for one in tests])),
        (OnsetEffect("bar fixed"), np.array([float(one.bar_fixed) for one in tests])),
        (OnsetEffect("time of day"), np.array([(one.hour - AFTERNOON_H) / PER_HOURS for one in tests])),
        *(
            (OnsetEffect(f"rig {rig}"), np.array([float(one == rig) for one in rigs]))
            for rig in sorted({*rigs} - {usual})
        ),
    ]
    riders = [one.entry.rider for one in tests]
    kept = [(effect, column) for effect, column in candidates if _differs_within(riders, column)]
    columns = np.column_stack([column for _, column in kept]) if kept else np.zeros((len(tests), 0))
    return columns, [effect for effect, _ in kept]


def _differs_within(riders: Sequence[str], column: Array) -> bool:
    """Whether any one rider was tested at two values: between riders it could be the riders."""
    seen: dict[str, float] = {}
    return any(abs(seen.setdefault(rider, value) - value) > APART for rider, value in zip(riders, column, strict=True))


def interval_mm(grid_mm: Array, weight: Array) -> tuple[float, float]:
    """Where the cumulated weight passes 2.5 and 97.5 %, on the grid."""
    below = np.cumsum(weight)
    low, high = (int(np.searchsorted(below, share)) for share in (0.025, 0.975))
    return float(grid_mm[low]), float(grid_mm[min(high, len(grid_mm) - 1)])
