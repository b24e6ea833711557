"""What one finished step rests on, for a page: its strokes or readings one by one, and why some were left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from daq.fit.ridden import Ridden
from daq.keep.again.derived import Derived
from daq.keep.errors import NotThere
from daq.keep.json_text import plain
from daq.sweep.onset import standard_errors
from daq.values import Onset, StepMean, Stroke, Verdict
from daq.words import counted


def step_fields(steps: Sequence[StepMean], index: int) -> dict[str, Any]:
    """The step of this index, counted from 0, with everything recorded at its position. NotThere. Times are seconds
    from the first stroke or reading."""
    if not 0 <= index < len(steps):
        raise NotThere(f"this sweep has {counted(len(steps), 'finished step')}; there is no step {index + 1}")
    step = steps[index]
    why = {one.stroke: one.why for one in step.left_out}
    strokes = sorted((*step.strokes, *why), key=lambda stroke: stroke.start_s)
    begins_s = min([one.start_s for one in strokes] + [one.t_s for one in step.readings], default=0.0)
    return {
        "index": index,
        "setback_mm": step.setback_mm,
        "hand_load_n": step.hand_load_n,
        "se_n": plain(float(standard_errors(steps)[index])),
        "strokes": [_stroke_fields(one, begins_s, why.get(one, "")) for one in strokes],
        "readings": [
            {"t_s": one.t_s - begins_s, "hands_n": one.hands_n, "half_n": one.half_n} for one in step.readings
        ],
    }


def recalibrated_fields(ridden: Ridden, again: Derived, calibration: str) -> dict[str, Any]:
    """A sweep as it was ridden beside the same strokes with another calibration."""
    before = None if ridden.calibration is None else ridden.calibration.id
    return {
        "ridden_with": before,
        "with": calibration,
        "same": before == calibration,
        "steps": [
            {"setback_mm": was.setback_mm, "was_n": was.hand_load_n, "now_n": now.hand_load_n}
            for was, now in zip(ridden.steps, again.steps, strict=True)
        ],
        "was": _answer(ridden.onset),
        "now": _answer(again.onset),
    }


def _answer(onset: Onset | None) -> dict[str, Any] | None:
    if onset is None:
        return None
    named = onset.verdict is Verdict.ONSET
    return {
        "verdict": str(onset.verdict),
        "onset_mm": onset.onset_mm if named else None,
        "interval_95_mm": onset.interval_95_mm if named else None,
        "reasons": onset.reasons,
    }


def _stroke_fields(stroke: Stroke, begins_s: float, left_out: str) -> dict[str, Any]:
    return {
        "t_s": stroke.mid_s - begins_s,
        "hands_n": stroke.hands_n,
        "torque_nm": plain(stroke.crank_torque_nm),
        "cadence_rpm": stroke.cadence_rpm,
        "left_out": left_out,
    }
