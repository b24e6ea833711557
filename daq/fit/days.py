"""What a client's tests say beyond today: another day, whether a change is real, and which test would help most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.another_day import Foretold, another_day, change, today, what_helps
from daq.sweep.spreads import DAY_PRIOR_MM, GIVES_WAY
from daq.sweep.workshop import KnownTest, Taught
from daq.values import Verdict
from daq.words import counted

SHOWN_EVERY_MM = 1.0
SAME_GRADIENT_PCT = 0.5
Ends = tuple[float | None, float | None]
"""Foremost and rearmost end, mm; None if unknown."""


@dataclass(frozen=True, slots=True)
class Chance:
    """That the hands already carry more at a setback."""

    setback_mm: float
    today: float
    another_day: float


@dataclass(frozen=True, slots=True)
class Moved:
    """How far the onset lies from that of another test of the same client; positive: further back now."""

    sweep: str
    day: str
    """ISO date."""
    same_day: bool
    change_mm: float
    interval_95_mm: tuple[float, float]
    detectable_mm: float

    @property
    def clear(self) -> bool:
        """Whether it exceeds what the same rider, unchanged, would show 95 times in 100."""
        return abs(self.change_mm) > self.detectable_mm


@dataclass(frozen=True, slots=True)
class Helps:
    """One more test, and the width of another day's interval after it; infinite if one end stays open."""

    what: str
    width_mm: float


@dataclass(frozen=True, slots=True)
class Days:
    """One sweep in the light of all tests."""

    sweep: str
    today_mm: Ends
    another_day_mm: Ends
    chances: tuple[Chance, ...]
    """Over the positions ridden, rearmost first."""
    moved: tuple[Moved, ...]
    helps: tuple[Helps, ...]
    day_sd_mm: float
    sweep_sd_mm: float
    own_days: int
    """Days on which this client was tested."""
    spreads_from: str
    """Where the scatter figures come from, for the reader."""

    def chances_at(self, setback_mm: float) -> Chance:
        """Interpolated between positions; beyond them, the chance at the last one."""
        at_mm, *chances = np.array([(one.setback_mm, one.today, one.another_day) for one in self.chances[::-1]]).T
        return Chance(setback_mm, *(float(np.interp(setback_mm, at_mm, one)) for one in chances))


def days(found: Taught, sweep: str) -> Days | None:
    """The tests of the client who rode this sweep; None if it is not an informative one."""
    one = next((each for each in found.tests if each.sweep == sweep), None)
    if one is None:
        return None
    shift_mm = one.entry.effects_mm
    # In the conditions of this sweep: same gradient, bar and rig, so that the positions are the ones ridden.
    own = [replace(each, effects_mm=each.effects_mm - shift_mm) for each in found.of(one.entry.rider)]
    like = replace(one.entry, effects_mm=0.0)
    now, then = today(like), another_day(own, found.panel)
    return Days(
        sweep=sweep,
        today_mm=now.interval_mm,
        another_day_mm=then.interval_mm,
        chances=_chances(one, now, then),
        moved=tuple(_moved(each, one, found) for each in _comparable(one, found)),
        helps=tuple(Helps(each.what, each.width_mm) for each in what_helps(own, found.panel, like=like)),
        day_sd_mm=found.panel.day_sd_mm,
        sweep_sd_mm=found.panel.sweep_sd_mm,
        own_days=len({each.day for each in own}),
        spreads_from=spreads_from(found),
    )


def spreads_from(found: Taught) -> str:
    """Where the scatter between days and sweeps comes from, in a sentence."""
    second_days, name = found.panel.second_days, found.panel.priors.name
    judged = f"judgement, about {DAY_PRIOR_MM:g} mm. Where it is much more, another day's interval is too narrow"
    prior = judged if name == "judgement" else f"the tests of {name}"
    if second_days == 0:
        return f"Nobody was tested on a second day here yet: how far onsets scatter between days is {prior}."
    seen = counted(second_days, "second day")
    if found.enough:
        return f"How far onsets scatter between days is learned from {seen} here."
    if name != "judgement" or second_days < GIVES_WAY:
        few = "is" if second_days == 1 else "are"
        return f"{seen} here {few} not enough: how far onsets scatter between days is mostly {prior}."
    return f"{seen} here are few: how far onsets scatter between days is hardly known, so the intervals are wide."


def _chances(one: KnownTest, now: Foretold, then: Foretold) -> tuple[Chance, ...]:
    told = one.entry.likelihood
    count = math.floor((len(told.log_l) - 1) * told.step_mm / SHOWN_EVERY_MM)
    places_mm = [told.rear_mm - i * SHOWN_EVERY_MM for i in range(count + 1)]
    return tuple(Chance(mm, now.chance_behind(mm), then.chance_behind(mm)) for mm in places_mm)


def _comparable(one: KnownTest, found: Taught) -> Sequence[KnownTest]:
    """Other tests of the same client on the same gradient, measured to the same point of the saddle: another day, or
    another saddle. None where either names no onset: what lies beyond the positions ridden has no distance."""
    if one.verdict != Verdict.ONSET:
        return []
    return [
        each
        for each in found.tests
        if each.verdict == Verdict.ONSET
        and each.client == one.client
        and each.reference == one.reference
        and each.sweep != one.sweep
        and abs(each.gradient_pct - one.gradient_pct) < SAME_GRADIENT_PCT
    ]


def _moved(each: KnownTest, one: KnownTest, found: Taught) -> Moved:
    seen = change(each.entry, one.entry, found.panel)
    return Moved(
        each.sweep,
        each.entry.day,
        each.entry.day == one.entry.day,
        seen.change_mm,
        seen.interval_95_mm,
        seen.detectable_mm,
    )
