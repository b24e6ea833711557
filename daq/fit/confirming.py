"""The decided place and the present one ridden again alternately, the rider not knowing which: what really differs.

Every number here is one ride's on one day; the scatter of a visit comes from the day's sweep, so that four visits can
say something at all (daq.sweep.paired).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.fit.expectation import duration_s
from daq.fit.intake import OwnBicycle
from daq.fit.on_bicycle import front_share_each
from daq.fit.ridden import LEVEL_PCT, Ridden, gradient_sweep, main_sweep
from daq.fit.step_notes import SCORES
from daq.refusals import BadValue
from daq.rig import Rig
from daq.sweep.evidence import stroke_errors
from daq.sweep.information import Sway
from daq.sweep.paired import LEAST_APART_MM, TURNS, Paired, Scatter, by_turns, of_steps, paired
from daq.sweep.places import SAME_PLACE_MM
from daq.sweep.plan import Plan
from daq.values import NAN, StepMean

OF_CURVE = 4
"""Level, two slopes and a drift are taken from a sweep's steps; what is left tells the scatter."""
ASSUMED_FREEDOM = 3.0
"""How well a scatter is known that no sweep of the day has told. Judgement, no source."""
ASSUMED_SHARE = 0.5
"""Points of per cent from visit to visit where no sweep tells. Judgement, no source."""
SCORE = Scatter(1.0, 8.0)
"""A rating from 0 to 10 given again: 1.0 points standard error, Childs, Piva, Fritz 2005, Spine 30(11), for pain in the
back; from memory. The freedom is judgement."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity at the chosen place less the same at the present one."""

    what: str
    unit: str
    digits: int
    present: float | None
    chosen: float | None
    difference: float | None
    interval_95: tuple[float, float] | None
    clear: bool
    """Whether the interval leaves out no difference."""
    why_not: str = ""

    @property
    def said(self) -> str:
        """In one phrase, with its sign."""
        if self.difference is None or self.interval_95 is None:
            return f"{self.what}: not known, {self.why_not}"
        low, high = (_signed(each, self.digits) for each in self.interval_95)
        found = f"{self.what}: {_signed(self.difference, self.digits)} {self.unit}, 95 % {low} to {high} {self.unit}"
        return found if self.clear else f"{found}, no difference shown"


@dataclass(frozen=True, slots=True)
class Confirmed:
    """One confirm ride."""

    sweep_id: int
    gradient_pct: float
    present_mm: float
    chosen_mm: float
    visits: tuple[int, int]
    """To the present place and to the chosen one."""
    whole: bool
    """Whether each was ridden as often as it has to be."""
    blinded: bool
    differences: tuple[Difference, ...]

    @property
    def where(self) -> str:
        """Level or on which climb."""
        return on_what(self.gradient_pct)


@dataclass(frozen=True, slots=True)
class ConfirmWanted:
    """A confirm ride the decided place asks for."""

    gradient_pct: float
    done: bool
    minutes: float


def on_what(gradient_pct: float) -> str:
    """In words: on the level, on the climb of 4.5 %."""
    return "on the level" if abs(gradient_pct) < LEVEL_PCT else f"on the climb of {gradient_pct:g} %"


def wanted(sweeps: Sequence[Ridden], present_mm: float | None, chosen_mm: float | None) -> tuple[ConfirmWanted, ...]:
    """What has to be ridden before this place is printed: level, and on the climb where one was ridden. Nothing where
    nothing changes, and nothing where no sweep was ridden."""
    if present_mm is None or chosen_mm is None or abs(chosen_mm - present_mm) < LEAST_APART_MM:
        return ()
    found = []
    for base in _bases(sweeps):
        done = any(one.whole for one in _of(sweeps, base.plan.gradient_pct, present_mm, chosen_mm))
        minutes = duration_s(2 * TURNS, base.plan.settle_s, base.plan.dwell_s) / 60.0
        found.append(ConfirmWanted(base.plan.gradient_pct, done, minutes))
    return tuple(found)


def plan_of(
    sweeps: Sequence[Ridden], gradient_pct: float, present_mm: float, chosen_mm: float, *, chosen_first: bool
) -> Plan:
    """The confirm ride as a plan: effort, bar and height as in the sweep the decision rests on. BadValue where none
    was ridden on this gradient; BadPlan where both places are one."""
    base = next((one for one in _bases(sweeps) if _alike(one.plan.gradient_pct, gradient_pct)), None)
    if base is None:
        raise BadValue(f"gradient_pct: no sweep was ridden at {gradient_pct:g} % today", see="plan")
    first_mm, second_mm = (chosen_mm, present_mm) if chosen_first else (present_mm, chosen_mm)
    return replace(
        base.plan,
        positions_mm=by_turns(first_mm, second_mm),
        label=f"confirm {on_what(base.plan.gradient_pct)}",
        order="by turns",
        seed=None,
        blinded=True,
        purpose="confirm",
    )


def confirmed(
    sweeps: Sequence[Ridden],
    rig: Rig,
    bicycle: OwnBicycle | None,
    *,
    present_mm: float | None,
    chosen_mm: float | None,
) -> tuple[Confirmed, ...]:
    """Every gradient's last confirm ride of these two places, the level one first."""
    if present_mm is None or chosen_mm is None:
        return ()
    found = []
    for base in _bases(sweeps):
        rides = _of(sweeps, base.plan.gradient_pct, present_mm, chosen_mm)
        if rides:
            last = next((one for one in reversed(rides) if one.whole), rides[-1])
            found.append(_with_differences(last, sweeps, base, rig, bicycle))
    return tuple(found)


def again(sweeps: Sequence[Ridden]) -> tuple[StepMean, ...]:
    """The steps of all confirm rides: they too say how the jig was set at their places."""
    return tuple(step for one in sweeps if one.plan.purpose == "confirm" for step in one.steps)


def last_confirmed_mm(sweeps: Sequence[Ridden], present_mm: float | None) -> float | None:
    """The place the last confirm ride was about: its one that is not the present one."""
    rides = [one for one in sweeps if one.plan.purpose == "confirm"]
    if not rides or present_mm is None:
        return None
    return max(rides[-1].plan.positions_mm, key=lambda mm: abs(mm - present_mm))


def _bases(sweeps: Sequence[Ridden]) -> list[Ridden]:
    """The sweeps a confirm ride goes by: the main one, and the climb."""
    main, climb = main_sweep(tuple(sweeps)), gradient_sweep(tuple(sweeps))
    return [one for one in (main, None if climb is main else climb) if one is not None and one.steps]


def _of(sweeps: Sequence[Ridden], gradient_pct: float, present_mm: float, chosen_mm: float) -> list[Confirmed]:
    """The confirm rides of these places on this gradient, without their differences."""
    found = []
    for one in sweeps:
        if one.plan.purpose != "confirm" or not _alike(one.plan.gradient_pct, gradient_pct):
            continue
        asked = set(one.plan.positions_mm)
        if all(min(abs(mm - at) for at in asked) < SAME_PLACE_MM for mm in (present_mm, chosen_mm)):
            second = _at_chosen(one.steps, present_mm, chosen_mm)
            visits = (second.count(False), second.count(True))
            whole = min(visits) >= TURNS
            gradient = one.plan.gradient_pct
            found.append(Confirmed(one.sweep_id, gradient, present_mm, chosen_mm, visits, whole, one.plan.blinded, ()))
    return found


def _with_differences(
    bare: Confirmed, sweeps: Sequence[Ridden], base: Ridden, rig: Rig, bicycle: OwnBicycle | None
) -> Confirmed:
    ride = next(one for one in sweeps if one.sweep_id == bare.sweep_id)
    second = _at_chosen(ride.steps, bare.present_mm, bare.chosen_mm)
    times = [step.t_min for step in ride.steps]
    front = [100.0 * share for share in front_share_each(ride, rig, bicycle)]
    rows: list[tuple[str, str, int, list[float], Scatter, str]] = [
        ("hand load", "N", 0, [step.hand_load_n for step in ride.steps], _of_hands(ride, base), "too few visits"),
        ("weight on the front wheel", "points", 1, front, _of_front(base, rig, bicycle), "the own bicycle, the rider's "
         "mass or the effort is not known"),
    ]  # fmt: skip
    for name in SCORES:
        said = [ride.notes.get(i, {}).get(name, NAN) for i in range(len(ride.steps))]
        rows.append((f"rider's score, {name}", "of 10", 1, said, SCORE, "it was not asked at both places"))
    found = tuple(
        _difference(what, unit, digits, paired(values, second, times, scatter), why_not)
        for what, unit, digits, values, scatter, why_not in rows
    )
    return replace(bare, differences=found)


def _difference(what: str, unit: str, digits: int, found: Paired | None, why_not: str) -> Difference:
    if found is None:
        return Difference(what, unit, digits, None, None, None, None, clear=False, why_not=why_not)
    return Difference(
        what, unit, digits, *found.means, difference=found.difference, interval_95=found.interval_95, clear=found.clear
    )


def _of_hands(ride: Ridden, base: Ridden) -> Scatter:
    """A visit's scatter: its strokes', and what visits of the day's sweep scattered beyond theirs."""
    errors = stroke_errors(ride.steps).tolist()
    between_n = NAN if base.onset is None else base.onset.between_n
    left = len(base.steps) - OF_CURVE
    if math.isnan(between_n) or left < ASSUMED_FREEDOM:
        return of_steps(errors, Sway().between_n, ASSUMED_FREEDOM)
    return of_steps(errors, between_n, float(left))


def _of_front(base: Ridden, rig: Rig, bicycle: OwnBicycle | None) -> Scatter:
    """How far the day's sweep scattered about a straight line, in points of per cent."""
    share = 100.0 * np.array(front_share_each(base, rig, bicycle))
    known = np.isfinite(share)
    freedom = int(known.sum()) - 2
    if freedom < ASSUMED_FREEDOM:
        return Scatter(ASSUMED_SHARE, ASSUMED_FREEDOM)
    x, y = np.array([step.setback_mm for step in base.steps])[known], share[known]
    left = y - np.polyval(np.polyfit(x, y, 1), x)
    return Scatter(math.sqrt(float(left @ left) / freedom), float(freedom))


def _at_chosen(steps: Sequence[StepMean], present_mm: float, chosen_mm: float) -> list[bool]:
    return [abs(step.setback_mm - chosen_mm) < abs(step.setback_mm - present_mm) for step in steps]


def _alike(one_pct: float, other_pct: float) -> bool:
    """Whether both are level, or the same climb."""
    return abs(one_pct - other_pct) < LEVEL_PCT / 2 or max(abs(one_pct), abs(other_pct)) < LEVEL_PCT


def _signed(value: float, digits: int) -> str:
    """With its sign; nothing has none."""
    return f"{value:{'+' if round(value, digits) else ''}z.{digits}f}"
