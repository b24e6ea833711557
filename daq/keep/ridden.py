"""A stored sweep as the decision needs it: computed from its raw, with what was said and marked meanwhile."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daq.fit.ridden import Ridden
from daq.fit.step_notes import STEP_NOTE, StepNotes, noted, without_redone
from daq.items import Event
from daq.keep.reading import END_US
from daq.keep.store import Store
from daq.measure.calibration import from_dict
from daq.pipeline import FITTER, Pipeline
from daq.rig import parse_rig
from daq.sweep.plan import Plan
from daq.values import Onset

MARK = "mark"
"""Event: a word about this moment; content {"text": ...}."""


def ridden(store: Store, sweep_id: int) -> Ridden:
    """One sweep, from its raw by the same pipeline as live: the same steps and answer, bit for bit."""
    sweep = store.sweep(sweep_id)
    pipeline = Pipeline(
        parse_rig(store.session(sweep.session_id).rig), from_dict(store.calibration(sweep.calibration_id))
    )
    onset: Onset | None = None
    notes: StepNotes = {}
    marks: list[str] = []
    for item in store.read_items(sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us):
        outputs = pipeline.feed(item)
        if isinstance(item, Event):
            steps = 0 if pipeline.progress is None else len(pipeline.progress.steps)
            notes = _notes_after(notes, item, steps)
            marks += [str(item.content["text"])] if item.kind == MARK else []
            onset = None if item.kind == FITTER and item.content["event"] == "redo" else onset
        onset = next((found for found in reversed(outputs) if isinstance(found, Onset)), onset)
    return Ridden(
        sweep_id=sweep_id,
        plan=plan_of(sweep.plan),
        state=sweep.state or "cut off",
        steps=() if pipeline.progress is None else tuple(pipeline.progress.steps),
        onset=onset,
        mass_kg=sweep.rider.get("mass_kg"),
        notes=notes,
        marks=tuple(marks),
    )


def plan_of(stored: Mapping[str, Any]) -> Plan:
    """A plan as it was stored."""
    return Plan(**{**stored, "positions_mm": tuple(stored["positions_mm"])})


def _notes_after(notes: StepNotes, event: Event, steps: int) -> StepNotes:
    if event.kind == STEP_NOTE:
        return noted(notes, event.content)
    return without_redone(notes, event.content["event"], steps) if event.kind == FITTER else notes
