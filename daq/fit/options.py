"""What follows from every setback that can be chosen: height and bar as ridden there, stages, reach, front wheel."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from daq.fit.decision import FOLLOW_UP_DAYS, STAGE_DAYS, Decision, stages_mm
from daq.fit.intake import Intake
from daq.fit.on_bicycle import Estimate, front_shares
from daq.fit.prechecks import Measured
from daq.fit.reaching import Reaching, reaching
from daq.fit.ridden import Ridden
from daq.fit.setting import planned, start_of
from daq.fit.suggested import Suggested, chance_at
from daq.fit.window import cautions_at
from daq.rig import Rig
from daq.sweep.places import SAME_PLACE_MM

BEYOND_MM = 5
"""How far outside the ridden range a setback can be chosen on the chart, marked as not ridden."""
ROUNDED_MM = 0.051
SAME_MM = 1.0
"""Heights that differ by less count as the same: nobody measures a saddle better. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class SaddleAndBar:
    """Saddle and bar, mm; None where unknown."""

    setback_mm: float
    height_mm: float | None
    """BB to saddle top along the seat tube."""
    bar_x_mm: float | None
    """Bar forward of the BB."""
    bar_y_mm: float | None


@dataclass(frozen=True, slots=True)
class ChangeStage:
    """One stage of a change, and the day from which it is ridden."""

    on: datetime.date
    place: SaddleAndBar


@dataclass(frozen=True, slots=True)
class Option:
    """One setback and what goes with it."""

    place: SaddleAndBar
    stages: tuple[ChangeStage, ...]
    recheck_on: datetime.date
    """Some weeks after the last stage, never before it."""
    front_share: Estimate
    reaching: Reaching
    p_loaded: float | None
    """The probability, by today's sweep, that the hands already carry more there; None outside the ridden range."""
    cautions: tuple[str, ...]
    """What speaks against this setback."""


def place_at(sweep: Ridden | None, rig: Rig, intake: Intake, measured: Measured, setback_mm: float) -> SaddleAndBar:
    """Height and bar as ridden at this setback; between positions as the plan's policies give them. Without a sweep,
    the height as measured today, or as the client came; the bar is then unknown.
    """
    if sweep is None:
        return SaddleAndBar(setback_mm, measured.height_mm or intake.saddle.height_mm, None, None)
    first = sweep.steps[0] if sweep.steps else None
    found = planned(sweep.plan, start_of(sweep.plan, rig.geometry, first), setback_mm, intake.saddle).setting
    for step in (*sweep.steps, *sweep.again):
        if abs(step.setback_mm - setback_mm) < SAME_PLACE_MM:
            said = {name: getattr(step.setting, name) for name in ("saddle_height_mm", "bar_x_mm", "bar_y_mm")}
            found = replace(found, **{name: mm for name, mm in said.items() if _otherwise(mm, getattr(found, name))})
    height_mm = _known(found.saddle_height_mm)
    if height_mm is None:
        height_mm = measured.height_mm or intake.saddle.height_mm
    return SaddleAndBar(setback_mm, height_mm, _known(found.bar_x_mm), _known(found.bar_y_mm))


def options(
    sweep: Ridden | None,
    proposed: Suggested | None,
    rig: Rig,
    intake: Intake,
    measured: Measured,
    *,
    day: datetime.date,
    also_mm: Sequence[float],
) -> tuple[Option, ...]:
    """Every whole millimetre from behind the rearmost to before the foremost position; also_mm: positions to include in
    any case. proposed: what the sweep suggests. day: of the visit, on which the first stage is set."""
    ends = [step.setback_mm for step in sweep.steps] if sweep is not None else []
    ends += also_mm
    if not ends:
        return ()
    all_mm = [float(mm) for mm in range(math.floor(min(ends)) - BEYOND_MM, math.ceil(max(ends)) + BEYOND_MM + 1)]
    places = {mm: place_at(sweep, rig, intake, measured, mm) for mm in all_mm}
    nothing = Estimate(None, None, None, "no sweep was ridden")
    shares = [nothing] * len(all_mm) if sweep is None else front_shares(sweep, rig, intake.bicycle, all_mm)
    return tuple(
        _option(sweep, proposed, rig, intake, measured, places[mm], share, day)
        for mm, share in zip(all_mm, shares, strict=True)
    )


def option_at(
    sweep: Ridden | None,
    proposed: Suggested | None,
    rig: Rig,
    intake: Intake,
    measured: Measured,
    setback_mm: float,
    day: datetime.date,
) -> Option:
    """One setback, in whole millimetres or not."""
    place = place_at(sweep, rig, intake, measured, setback_mm)
    nothing = Estimate(None, None, None, "no sweep was ridden")
    share = nothing if sweep is None else front_shares(sweep, rig, intake.bicycle, [setback_mm])[0]
    return _option(sweep, proposed, rig, intake, measured, place, share, day)


def differences(decision: Decision, ridden: SaddleAndBar) -> tuple[str, ...]:
    """What in a decision differs from how it was ridden there, one sentence each."""
    decided = (
        ("saddle height", decision.height_mm, ridden.height_mm),
        ("bar ahead of the BB", decision.bar_x_mm, ridden.bar_x_mm),
        ("bar above the BB", decision.bar_y_mm, ridden.bar_y_mm),
    )
    return tuple(
        f"{what} {now_mm:.0f} mm was decided, {then_mm:.0f} mm was ridden at {decision.setback_mm:.0f} mm: what was "
        "measured holds for the place ridden"
        for what, now_mm, then_mm in decided
        if now_mm is not None and then_mm is not None and abs(now_mm - then_mm) >= SAME_MM
    )


def _option(
    sweep: Ridden | None,
    proposed: Suggested | None,
    rig: Rig,
    intake: Intake,
    measured: Measured,
    place: SaddleAndBar,
    front_share: Estimate,
    day: datetime.date,
) -> Option:
    staged_mm = stages_mm(intake.saddle.setback_mm, place.setback_mm)
    stages = tuple(
        ChangeStage(day + datetime.timedelta(days=STAGE_DAYS * i), place_at(sweep, rig, intake, measured, mm))
        for i, mm in enumerate(staged_mm)
    )
    return Option(
        place=place,
        stages=stages,
        recheck_on=stages[-1].on + datetime.timedelta(days=FOLLOW_UP_DAYS),
        front_share=front_share,
        reaching=reaching(intake.post, intake.saddle, place.setback_mm, place.height_mm),
        p_loaded=None if sweep is None or sweep.onset is None else chance_at(sweep.onset.p_loaded_at, place.setback_mm),
        cautions=cautions_at(sweep, proposed, chosen_mm=place.setback_mm, present_mm=intake.saddle.setback_mm),
    )


def _otherwise(said_mm: float, planned_mm: float) -> bool:
    """Whether it was set differently from the plan: what is confirmed as planned is written to a tenth."""
    return math.isfinite(said_mm) and not abs(said_mm - planned_mm) <= ROUNDED_MM


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None
