"""A stored sweep as the decision needs it: computed from its raw, with what was said and marked meanwhile."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from daq.fit.ridden import Ridden
from daq.fit.step_notes import Remarks
from daq.fit.stroke_watch import StrokeWatch
from daq.items import Event
from daq.keep.store import Store
from daq.keep.store.reading import END_US
from daq.measure.calibration import from_dict
from daq.pipeline import FITTER, SWEEP_BEGUN, Pipeline
from daq.rig import parse_rig
from daq.sweep.plan import Plan
from daq.sweep.run import Event as SweepEvent
from daq.values import Onset


def ridden(store: Store, sweep_id: int) -> Ridden:
    """One sweep, from its raw by the same pipeline as live: the same steps and answer, bit for bit."""
    sweep = store.sweep(sweep_id)
    pipeline = Pipeline(
        parse_rig(store.session(sweep.session_id).rig), from_dict(store.calibration(sweep.calibration_id))
    )
    onset: Onset | None = None
    remarks, watch = Remarks(), StrokeWatch()
    for item in store.read_items(sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us):
        watch.hear(item)
        outputs = pipeline.feed(item)
        for output in outputs:
            watch.see(output)
        if isinstance(item, Event):
            watch = StrokeWatch() if item.kind == SWEEP_BEGUN else watch
            remarks = remarks.after(item)
            if item.kind == FITTER and pipeline.progress is not None:
                remarks = remarks.after_fitter(item.content["event"], len(pipeline.progress.steps))
                onset = None if item.content["event"] == SweepEvent.REDO else onset
        onset = next((found for found in reversed(outputs) if isinstance(found, Onset)), onset)
    return Ridden(
        sweep_id=sweep_id,
        plan=plan_of(sweep.plan),
        state=sweep.state or "cut off",
        steps=() if pipeline.progress is None else tuple(pipeline.progress.steps),
        onset=onset,
        mass_kg=sweep.rider.get("mass_kg"),
        notes=remarks.notes,
        marks=remarks.marks,
        calibration=pipeline.calibration,
        shapes=() if pipeline.progress is None else watch.of(pipeline.progress.steps),
    )


def plan_of(stored: Mapping[str, Any]) -> Plan:
    """A plan as it was stored."""
    return Plan(**{**stored, "positions_mm": tuple(stored["positions_mm"])})
