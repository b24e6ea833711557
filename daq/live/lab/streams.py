"""What goes out to other instruments: four streams, their channels with units, and the rows made of each output. Pure.

Nothing that was typed and nothing of who rides goes out.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from daq.items import Event
from daq.values import NAN, Loads, Onset, StepMean, Stroke

TOLD_OF_EVENTS = ("event", "setback_mm")
"""What of an event's content goes out; the rest may have been typed."""


@dataclass(frozen=True, slots=True)
class LabStream:
    """One stream: name, type, and (label, unit) of its channels. Irregular: each sample has its own time."""

    name: str
    type: str
    channels: tuple[tuple[str, str], ...]
    format: Literal["double64", "string"] = "double64"


def loads_stream(cells: Sequence[str]) -> LabStream:
    """A sample a scan."""
    force = tuple((f"cell {name}", "N") for name in cells)
    return LabStream(
        "foreaft loads", "Force", (("hands", "N"), ("saddle", "N"), ("tilt", "deg"), *force, ("clock error", "ms"))
    )


STROKES = LabStream(
    "foreaft strokes",
    "Force",
    (
        ("hands", "N"),
        ("saddle", "N"),
        ("feet", "N"),
        ("tilt", "deg"),
        ("crank torque", "N.m"),
        ("power", "W"),
        ("duration", "s"),
        ("clock error", "ms"),
    ),
)
"""A sample a crank revolution, at its end."""
ONSET = LabStream(
    "foreaft onset", "Position", (("onset", "mm"), ("95 % low", "mm"), ("95 % high", "mm"), ("probability", "1"))
)
"""A sample an answer, when it is told; NaN where no onset is named. The verdict goes with the events."""
EVENTS = LabStream("foreaft events", "Markers", (("event", ""),), "string")
"""JSON objects: what the fitter did, steps, verdicts."""


def loads_rows(loads: Loads, error_ms: float) -> list[list[float]]:
    """One row a scan; error_ms: how well the board's clock is known in session time, NaN until it is."""
    columns = (loads.hands_n, loads.saddle_n, loads.tilt_deg, *loads.cells_n.T)
    return [[*map(float, row), error_ms] for row in zip(*columns, strict=True)]


def stroke_row(stroke: Stroke, error_ms: float) -> list[float]:
    """The sample of a stroke."""
    loads = (stroke.hands_n, stroke.saddle_n, stroke.feet_n, stroke.tilt_deg, stroke.crank_torque_nm, stroke.power_w)
    return [*loads, stroke.end_s - stroke.start_s, error_ms]


def onset_row(onset: Onset) -> list[float]:
    """The sample of an answer."""
    low_mm, high_mm = onset.interval_95_mm or (NAN, NAN)
    return [NAN if onset.onset_mm is None else onset.onset_mm, low_mm, high_mm, onset.p_onset]


def event_text(event: Event) -> str:
    """What goes out of an event."""
    told = {key: event.content[key] for key in TOLD_OF_EVENTS if event.content.get(key) is not None}
    return json.dumps({"kind": event.kind, **told})


def step_text(step: StepMean) -> str:
    """A finished step."""
    return json.dumps({"kind": "step", "setback_mm": step.setback_mm, "hand_load_n": round(step.hand_load_n, 3)})


def verdict_text(onset: Onset) -> str:
    """What may be claimed."""
    return json.dumps({"kind": "verdict", "verdict": str(onset.verdict)})
