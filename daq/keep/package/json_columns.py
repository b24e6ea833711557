"""JSON Schemas (draft 2020-12) of the columns that hold JSON: what a reader finds in them. They are open: an older
record, or one from a board that says more, is valid too.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Schema = Mapping[str, Any]


def number(description: str, *, missing: bool = False) -> Schema:
    """A number."""
    return {"type": ["number", "null"] if missing else "number", "description": description}


def text(description: str) -> Schema:
    """A text."""
    return {"type": "string", "description": description}


def truth(description: str) -> Schema:
    """A truth value."""
    return {"type": "boolean", "description": description}


def list_of(items: Schema, description: str) -> Schema:
    """A list, or nothing."""
    return {"type": ["array", "null"], "items": items, "description": description}


def record(description: str = "", *, required: tuple[str, ...] = (), **properties: Schema) -> Schema:
    """An object with these properties among others."""
    return {
        "type": "object",
        **({"description": description} if description else {}),
        "properties": properties,
        **({"required": list(required)} if required else {}),
    }


PLAN = record(
    positions_mm=list_of(number("setback"), "setbacks in the order in which they are asked, mm behind the BB"),
    settle_s=number("shortest wait after a move"),
    dwell_s=number("riding time inside the bands that one position needs"),
    power_w=number("asked of the rider"),
    cadence_rpm=number("asked of the rider"),
    torque_band_nm=number("half width of the band of crank torque in which a stroke counts"),
    cadence_band_rpm=number("half width of the band of cadence"),
    gradient_pct=number("100 tan(tilt) of the jig, nose up positive"),
    protocol=text("what is kept as the saddle moves: the reach, or the bar's place"),
    step_off_mm=number("how far behind the onset the saddle is put at least"),
    loaded_chance=number("largest accepted probability that the hands carry more at the suggested setback"),
    chance_of=text("the day of that probability: today, or another day"),
    order=text("how the positions were ordered"),
    blinded=truth("whether the rider saw neither loads nor setback"),
    purpose=text("onset; confirm: two places by turns; check: a few places looked at. The last two name no onset"),
)
RIDER = record(
    pseudonym=text("of the rider"),
    mass_kg=number("as ridden, with shoes and clothes", missing=True),
)
_CHANNEL = record(
    required=("name", "kind"),
    name=text("of the channel"),
    kind=text("force, tilt or unused"),
    coefficients=list_of(number("c_i"), "N or deg from counts x: c_0 + c_1 x + c_2 x^2 ..."),
    zero_counts=number("reading of the empty jig"),
    uncertainty={"type": ["object", "null"], "description": "terms of the budget, GUM (JCGM 100)"},
    tare={"type": ["object", "null"], "description": "the fixture's own weight over tilt, N"},
)
CALIBRATION = record(
    id=text("its name"),
    made_utc=text("when, ISO 8601"),
    channels=list_of(_CHANNEL, "one per column of counts, in their order"),
    crosstalk=list_of({"type": "array"}, "true loads = crosstalk x loads that each cell shows; null: none"),
    simulated=truth("made on a simulated jig"),
)
RESULT = record(
    "of kind onset: the fields of the table onset and more, as they were computed at the time",
    onset_mm=number("where hand load starts to rise", missing=True),
)
HELLO = record(
    "what the board says of itself; units and gains of each channel",
    channels=list_of(record(name=text("of the channel")), "in the order of the counts"),
    scan_rate_hz=number("nominal rate of the scans"),
)
EVENT = record(
    "by kind: sweep-begun (plan, mass_kg, channels, zero_counts, calibration, proof), fitter (event, setback_mm), "
    "gone-on (positions_mm), zero (zero_counts), seated (mass_kg), calibration-checked (id, allows_verdict, sentence), "
    "typed-reading (hands, saddle: what a scale showed, as typed), typed-effort (power_w, cadence_rpm), mark, "
    "step-note (what, value), fault, stage-failed, marker (stream, t_s: of another instrument), "
    "raw-lost (said, source, to_us)",
    event=text("of kind fitter: begin, saddle_moved, redo, undo, pause, resume, enough, stop"),
    setback_mm=number("where the saddle was put", missing=True),
    mass_kg=number("of the rider", missing=True),
    zero_counts=list_of(number("counts"), "reading of the empty jig, in the order of the channels of the rig file"),
    channels=list_of(text("name"), "the channels in the order of the counts"),
    said=text("of kind raw-lost: what is lost, with its times"),
)
SENTENCES: Schema = {"type": "array", "items": {"type": "string"}}
