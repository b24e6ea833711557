"""What is noted for each step besides its loads: the rider's scores, the saddle's tilt. These are events like any
other, so they are stored with the raw data and come back with it after an interruption.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeAlias

from daq.items import STEP_NOTE, Event
from daq.refusals import BadValue, NotNow
from daq.sweep import run
from daq.sweep.progress import SweepProgress
from daq.sweep.setting import TILT_CHANGE_DEG

MARK = "mark"
"""Event: a remark about this moment; content {"text": ..., "setback_mm": where the saddle was, or None}."""
PAIN = "pain or numbness"
"""The mark that pauses a sweep. Once the rider has said where, on which side and how much, it also has place, side and
score; "red" names what ends the ride, or None."""
Red: TypeAlias = Literal["chest pain", "dizziness", "numbness or weakness"]
"""What ends riding for today. The usual cautions of exercise testing: common practice, no source; local rules
differ."""
SCORES = ("hands", "saddle", "effort")
"""0, none, to 10, as the rider says."""
SADDLE_TILT = "saddle_tilt_deg"
LIMITS: dict[str, tuple[float, float]] = {**dict.fromkeys(SCORES, (0.0, 10.0)), SADDLE_TILT: (-20.0, 20.0)}

StepNotes = dict[int, dict[str, float]]


@dataclass(frozen=True, slots=True)
class PainTold:
    """Where it hurt or went numb while riding, as the rider said."""

    setback_mm: float | None
    place: str
    side: str
    score: int
    red: str | None
    """What ended riding for that day."""

    @property
    def said(self) -> str:
        """In one phrase, with where the saddle was."""
        where = "" if self.setback_mm is None else f", at {self.setback_mm:g} mm"
        return f"{self.place}, {self.side}, {self.score} of 10{where}" + (f"; {self.red}" if self.red else "")


@dataclass(frozen=True, slots=True)
class Remarks:
    """The remarks made during a sweep so far."""

    notes: StepNotes = field(default_factory=dict)
    """Scores and tilts of the steps, counted from 0 as ridden: those left out count."""
    marks: tuple[str, ...] = ()
    """Remarks, with the setback at which they were made."""
    pain: bool = False
    """The rider has reported pain or numbness, and the ride has not gone on since."""
    told: bool = False
    """The rider has said where that pain is, on which side and how bad."""
    pains: tuple[PainTold, ...] = ()
    over: str = ""
    """What ended riding for today; empty while nothing has."""

    def after(self, event: Event) -> Remarks:
        """The remarks with one more note or mark; other events change nothing."""
        if event.kind == STEP_NOTE:
            return replace(self, notes=noted(self.notes, event.content))
        if event.kind == MARK:
            text, setback_mm = event.content.get("text"), event.content.get("setback_mm")
            if text is None:  # an export for research leaves out what was typed
                return self
            place, red = event.content.get("place"), event.content.get("red")
            pains = self.pains
            if place is not None:
                pains = (*pains, PainTold(setback_mm, place, event.content["side"], event.content["score"], red))
                text = f"{text}: {replace(pains[-1], setback_mm=None).said}"
            elif red:
                text = f"{text}: {red}"
            mark = text if setback_mm is None else f"{text} at {setback_mm:g} mm"
            return replace(
                self,
                marks=(*self.marks, mark),
                pain=self.pain or text.startswith(PAIN),
                told=self.told or place is not None,
                pains=pains,
                over=self.over or red or "",
            )
        return self

    def after_fitter(self, what: str, steps: int) -> Remarks:
        """After a fitter's event that leaves so many ridden steps: remarks about a repeated step are dropped, and a
        pain is over when the fitter lets the ride go on."""
        if what in (run.Trigger.BEGIN, run.Trigger.RESUME):
            return replace(self, pain=False, told=False)
        if what not in (run.Trigger.REDO, run.Trigger.UNDO):
            return self
        return replace(self, notes={step: found for step, found in self.notes.items() if step < steps})


def content_of(progress: SweepProgress, what: str, value: float) -> dict[str, Any]:
    """The event's content. NotNow before a step is ridden; BadValue for an unknown question or an impossible value."""
    step = progress.spoken_of
    if step is None:
        raise NotNow("no step is ridden yet that this could belong to")
    if what not in LIMITS:
        raise BadValue(f"what: expected one of {', '.join(LIMITS)}, got {what}")
    low, high = LIMITS[what]
    if not low <= value <= high:
        raise BadValue(f"value: expected {low:g} to {high:g} for {what}, got {value:g}")
    return {"step": step, "what": what, "value": value}


def noted(notes: StepNotes, content: Mapping[str, Any]) -> StepNotes:
    """The notes with one more."""
    step = int(content["step"])
    return {**notes, step: {**notes.get(step, {}), str(content["what"]): float(content["value"])}}


def by_place(notes: Mapping[int, Mapping[str, float]], progress: SweepProgress) -> dict[int, Mapping[str, float]]:
    """The notes by where their step is in `progress.steps`; those of steps left out are dropped."""
    return {at: found for step, found in notes.items() if (at := progress.place_of(step)) is not None}


def tilt_caution(notes: StepNotes) -> str:
    """A sentence if the saddle's tilt differs from that of the first step with a reading; otherwise empty."""
    tilts = [notes[step][SADDLE_TILT] for step in sorted(notes) if SADDLE_TILT in notes[step]]
    if len(tilts) < 2 or abs(tilts[-1] - tilts[0]) <= TILT_CHANGE_DEG:
        return ""
    return (
        f"saddle tilt {tilts[-1]:+z.1f}°, {tilts[0]:+z.1f}° at the first step: more than {TILT_CHANGE_DEG:g}° apart "
        "moves load to or from the hands by itself"
    )
