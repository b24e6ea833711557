"""What to ride first and second: a range around where the client rides, and a short check on a climb."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.fit.expectation import duration_s
from daq.fit.intake import Intake
from daq.fit.leanings import Way, leanings
from daq.fit.reaching import limits_mm
from daq.fit.ridden import Ridden, main_sweep
from daq.fit.suggested import suggested
from daq.sweep.places import places
from daq.sweep.plan import FEWEST_POSITIONS
from daq.sweep.setting import JigRange

APART_MM = 5.0
REARWARD, FORWARD = {Way.BACK: 5, Way.FORWARD: 2, None: 3}, {Way.BACK: 5, Way.FORWARD: 8, None: 7}
"""Positions behind and forward of the present one, by what the first complaint points to: both sides where the saddle
may have to go back, more forward where it may come forward. Judgement, no source."""
CLIMB_PCT = 4.5
"""Where the answer is checked again. Common practice, no source: 4 to 5 %."""


@dataclass(frozen=True, slots=True)
class Range:
    """Where to ride; the present place is one of the positions."""

    rear_mm: float
    front_mm: float
    apart_mm: float
    why: str


@dataclass(frozen=True, slots=True)
class ClimbCheck:
    """Was, new and front end on a climb."""

    positions_mm: tuple[float, ...]
    gradient_pct: float
    minutes: float


def range_from(intake: Intake, jig: JigRange) -> Range | None:
    """The range the client's complaint asks for, within the jig and, while enough positions are left, within the rails
    of the own bicycle. None if the present setback is unknown, or out of the jig's reach."""
    present_mm = intake.saddle.setback_mm
    if present_mm is None or not jig.setback_mm[0] <= present_mm <= jig.setback_mm[1]:
        return None
    first = next((one for one in leanings(intake, (), too_far_forward=False) if one.complaint), None)
    way = None if first is None else first.way
    why = "around where the client rides" if first is None else f"{first.title.lower()}: {_words(first.way)}"
    on_jig = _within(present_mm, REARWARD[way], FORWARD[way], jig.setback_mm)
    rails_mm = limits_mm(intake.post, intake.saddle)
    on_rails = None if rails_mm is None else _within(present_mm, *on_jig, rails_mm)
    if on_rails is not None and sum(on_rails) + 1 >= FEWEST_POSITIONS:
        back, forward = on_rails
        why += "; as far as the rails of the own bicycle go" if on_rails != on_jig else ""
    else:
        back, forward = on_jig
    if back + forward + 1 < FEWEST_POSITIONS:
        return None
    return Range(present_mm + APART_MM * back, present_mm - APART_MM * forward, APART_MM, why)


def climb_check(
    sweeps: Sequence[Ridden], present_mm: float | None, decided_mm: float | None = None
) -> ClimbCheck | None:
    """The short second ride; None before a level sweep, or when a climb was ridden already. The new place is the one
    decided, or else the one suggested by the sweep alone, by today's chance.
    """
    main = main_sweep(tuple(sweeps))
    if main is None or not main.steps or present_mm is None or any(one.plan.gradient_pct > 0.0 for one in sweeps):
        return None
    proposed = suggested(main, None)
    new_mm = decided_mm if decided_mm is not None or proposed is None else proposed.setback_mm
    front_mm = min(step.setback_mm for step in main.steps)
    wanted = [round(mm, 1) for mm in (present_mm, new_mm, front_mm) if mm is not None]
    apart = places(np.array(wanted))
    positions_mm = tuple(mm for mm in dict.fromkeys(wanted) if mm in apart)
    if len(positions_mm) < 2:
        return None
    seconds = duration_s(len(positions_mm), main.plan.settle_s, main.plan.dwell_s)
    return ClimbCheck(positions_mm, CLIMB_PCT, seconds / 60.0)


def _within(present_mm: float, back: int, forward: int, limits: tuple[float, float]) -> tuple[int, int]:
    """How many positions behind and forward of the present one lie within the limits."""
    low_mm, high_mm = limits
    return (
        min(back, max(0, math.floor((high_mm - present_mm) / APART_MM + 1e-9))),
        min(forward, max(0, math.floor((present_mm - low_mm) / APART_MM + 1e-9))),
    )


def _words(way: Way) -> str:
    how_far = "as far behind as ahead of" if way is Way.BACK else "mostly ahead of"
    return f"positions {how_far} where the client rides"
