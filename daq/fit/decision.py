"""What the fitter decides, how a big change is staged, and the question weeks later whether it helped."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field

from daq import text
from daq.fit.intake import Feel, FormPart, Line, Symptom, Text

STAGE_DAYS = 7
STAGE_MM = 5.0
BIG_MM = 10.0
"""A change of more than BIG_MM is made in equal stages of about STAGE_MM, a week each. Common practice, no source."""
FOLLOW_UP_DAYS = 21
"""Two to four weeks of riding show whether it helped. Common practice, no source."""


class Decision(FormPart):
    """The tool advises, the fitter decides: where the saddle is put, and why."""

    setback_mm: Annotated[float, Field(ge=-100, le=300)]
    height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None
    saddle_tilt_deg: Annotated[float, Field(ge=-20, le=20)] | None = None
    reach_mm: Annotated[float, Field(ge=200, le=1000)] | None = None
    """Saddle's reference point to the middle of the bar."""
    bar_x_mm: Annotated[float, Field(ge=100, le=1200)] | None = None
    """Bar forward of the BB, where the hands rest."""
    bar_y_mm: Annotated[float, Field(ge=100, le=1500)] | None = None
    """Bar above the BB."""
    reason: Annotated[text.Lines, Field(min_length=3, max_length=2000)]
    traded: Text = ""
    """What was given up for it."""
    not_confirmed: Text = ""
    """Why it is printed without having been ridden again against the present place; empty where it was."""
    decided_by: Annotated[text.Line, Field(min_length=1, max_length=80)]
    recheck_on: datetime.date


class FollowUp(FormPart):
    """The same questions after weeks of riding."""

    symptoms: Annotated[tuple[Symptom, ...], Field(max_length=30)] = ()
    feel: Feel = Feel()
    outcome: Literal["better", "same", "worse"]
    hours: Annotated[float, Field(ge=0, le=1000)] | None = None
    note: Line = ""


def stages_mm(present_mm: float | None, chosen_mm: float) -> tuple[float, ...]:
    """Setbacks to ride one after another, the chosen one last; only that one if the change is small or unknown."""
    if present_mm is None or abs(chosen_mm - present_mm) <= BIG_MM:
        return (chosen_mm,)
    count = math.ceil(abs(chosen_mm - present_mm) / STAGE_MM - 1e-9)
    between = (present_mm + (chosen_mm - present_mm) * i / count for i in range(1, count))
    return (*(float(round(mm)) for mm in between), chosen_mm)


def last_stage_on(present_mm: float | None, chosen_mm: float, begun: datetime.date) -> datetime.date:
    """The day from which the chosen setback is ridden, if the first stage is set on the first day."""
    return begun + datetime.timedelta(days=STAGE_DAYS * (len(stages_mm(present_mm, chosen_mm)) - 1))


def changes_said(before: Sequence[Symptom], after: Sequence[Symptom]) -> tuple[str, ...]:
    """Each complaint from the intake or now, with both scores: 'hands, left: 6 to 2'. One that only one of them names
    has no second score: nobody may have asked."""
    first = {(one.place, one.side): one.score for one in before}
    second = {(one.place, one.side): one.score for one in after}
    return tuple(
        f"{place}, {side}: {_then_to_now(first.get((place, side)), second.get((place, side)))}"
        for place, side in dict.fromkeys([*first, *second])
    )


def _then_to_now(before: int | None, after: int | None) -> str:
    if after is None:
        return f"{before}, not named again"
    return f"{after}, not named before" if before is None else f"{before} to {after}"
