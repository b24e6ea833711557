"""The setback suggested to fitter and client, by today's chance or another day's, and what it means in one sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.fit.days import Days
from daq.fit.ridden import Ridden
from daq.sweep.plan import ChanceOf, Plan
from daq.values import NAN, Onset

_ROUNDING_MM = 1e-9
Curve = tuple[tuple[float, float], ...]
"""Setback, mm, and chance."""


@dataclass(frozen=True, slots=True)
class Suggested:
    """Where the saddle might be put; the fitter decides."""

    setback_mm: float | None
    """A whole millimetre, rounded back: forward of what was computed the chance would be larger than accepted."""
    said: str
    """For the client: what the place means, or why there is none."""
    chance_of: ChanceOf
    """Which chance it goes by."""
    chances: Curve = ()
    """That chance over the places ridden, ascending setbacks."""

    def chance_at(self, setback_mm: float) -> float | None:
        """Interpolated between places; None outside what was ridden, or if it is not known."""
        return chance_at(self.chances, setback_mm)


def suggested(main: Ridden | None, foretold: Days | None) -> Suggested | None:
    """What the sweep's plan asks for: the foremost place ridden where the chance that the hands already carry more is
    at most the accepted one, today or on another day. None where no onset is named. foretold: what all tests of the
    client say; without it another day is unknown, and today's chance has to do.
    """
    named = None if main is None else main.named
    if main is None or named is None or named.onset_mm is None:
        return None
    rear_mm = rearmost_mm(main)
    if main.plan.chance_of == "today":
        return _today(named, main.plan, rear_mm)
    if foretold is None:
        return _today(named, main.plan, rear_mm, "Nothing can be said of another day yet. ")
    return _another_day(named.onset_mm, main.plan, foretold)


def rearmost_mm(main: Ridden) -> float:
    """The rearmost place ridden; minus infinity if none was."""
    return max((step.setback_mm for step in main.steps), default=-math.inf)


def chance_at(chances: Sequence[tuple[float, float]], setback_mm: float) -> float | None:
    """The chance at a setback, interpolated; None outside the places it is known at."""
    found = _at(chances, setback_mm)
    return None if math.isnan(found) else found


def _at(chances: Sequence[tuple[float, float]], setback_mm: float) -> float:
    """The same, NaN where it is not known."""
    if not chances:
        return NAN
    at_mm, chance = np.array(sorted(chances)).T
    return float(np.interp(setback_mm, at_mm, chance, left=NAN, right=NAN))


def _foremost_mm(chances: Curve, from_mm: float, rear_mm: float, accepted: float) -> float | None:
    """The foremost whole millimetre from from_mm back where the chance is small enough, or the rearmost place ridden;
    None if it is too large even there. Read off the curve that is shown, so that no page says otherwise.
    """
    whole_mm = np.arange(math.ceil(from_mm - _ROUNDING_MM), rear_mm).tolist()
    return next((mm for mm in (*whole_mm, rear_mm) if not _at(chances, mm) > accepted), None)


def _today(named: Onset, plan: Plan, rear_mm: float, first: str = "") -> Suggested:
    chances, from_mm = tuple(sorted(named.p_loaded_at)), named.suggested_setback_mm
    setback_mm = None if from_mm is None else _foremost_mm(chances, from_mm, rear_mm, plan.loaded_chance)
    if setback_mm is None:
        said = (
            "No setback is suggested: even at the rearmost place ridden today, the chance that your hands already "
            f"carry more of you is more than {100 * plan.loaded_chance:g} in 100."
        )
        return Suggested(None, first + said, "today", chances)
    if not chances:
        said = (
            f"Going by today's ride, {setback_mm:.0f} mm is far enough behind where your hands begin to carry more; "
            "the chance that they already do there was not computed."
        )
        return Suggested(setback_mm, first + said, "today")
    said = (
        f"Going by today's ride, the chance that your hands already carry more of you at {setback_mm:.0f} mm is at "
        f"most {100 * plan.loaded_chance:g} in 100."
    )
    return Suggested(setback_mm, first + said, "today", chances)


def _another_day(onset_mm: float, plan: Plan, foretold: Days) -> Suggested:
    """Never nearer to today's onset than the step-off, as far as that was ridden."""
    rear = foretold.chances[0]
    chances = tuple(sorted((one.setback_mm, one.another_day) for one in foretold.chances))
    nearest_mm = min(onset_mm + plan.step_off_mm, rear.setback_mm)
    setback_mm = _foremost_mm(chances, max(chances[0][0], nearest_mm), rear.setback_mm, plan.loaded_chance)
    if setback_mm is None:
        said = (
            f"No setback is suggested: even at {rear.setback_mm:.0f} mm, the rearmost place ridden, the chance that "
            f"your hands carry more of you on another day is {100 * rear.another_day:.0f} in 100, more than "
            f"{100 * plan.loaded_chance:g}. A test on another day would tell more."
        )
        return Suggested(None, said, "another day", chances)
    said = (
        f"Going by all your tests, the chance that your hands carry more of you at {setback_mm:.0f} mm on another day "
        f"is at most {100 * plan.loaded_chance:g} in 100."
    )
    return Suggested(setback_mm, said, "another day", chances)
