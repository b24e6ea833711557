"""Checks the items of a recording or an exported sweep before anything is computed from them. The pipeline trusts its
items: live, they come from our own decoders and from checked commands. A file may contain anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from functools import cache
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from daq.fit.step_notes import MARK
from daq.items import (
    CHECKED,
    EFFORT,
    FITTER,
    GONE_ON,
    LOST,
    READING,
    SEATED,
    STEP_NOTE,
    SWEEP_BEGUN,
    ZERO,
    Event,
    Hello,
    Item,
    Notification,
)
from daq.measure.clock import CLOCK_RULES
from daq.refusals import plainly
from daq.ride import STAGE_FAILED
from daq.sweep import run
from daq.sweep.plan import MOST_POSITIONS, Plan
from daq.values import Samples
from daq.wire.scans import MAX_CHANNELS

LATEST_US = 400 * 86_400 * 1_000_000
"""No session lasts longer; a later time cannot be a receipt time."""
MOST_PAYLOAD_BYTES = 512
"""Of a notification: an attribute of Bluetooth has no more (Core specification, vol 3, part F, 3.2.9)."""

MOST_STEPS = 1000
"""Steps of a sweep, including repeated ones."""

_Setback = Annotated[float, Field(ge=-1000, le=1000)]
_Millimetres = Annotated[float, Field(ge=-5000, le=5000)]
_Shown = Annotated[str, Field(pattern=r"^-?[0-9]{1,4}([.,][0-9]{1,3})?$")]
"""What a display shows, as typed."""
_Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
_Counts = Annotated[list[Annotated[float, Field(ge=-(2**40), le=2**40)]], Field(max_length=MAX_CHANNELS, strict=False)]


class _Content(BaseModel):
    model_config = ConfigDict(strict=True)


class _Standing(_Content):
    allows_verdict: bool
    sentence: Annotated[str, Field(max_length=2000)] = ""


class _Checked(_Standing):
    id: Annotated[str, Field(max_length=200)]


class _Begun(_Content):
    plan: dict[str, Any]
    mass_kg: Annotated[float, Field(gt=0, le=500)] | None
    channels: Annotated[list[_Name], Field(max_length=MAX_CHANNELS, strict=False)]
    zero_counts: _Counts | None
    clock: Annotated[int, Field(ge=1, le=CLOCK_RULES)] = 1
    calibration: _Standing | None = None
    proof: Annotated[str, Field(max_length=2000)] | None = None


class _Set(_Content):
    saddle_height_mm: _Millimetres | None = None
    bar_x_mm: _Millimetres | None = None
    bar_y_mm: _Millimetres | None = None
    saddle_tilt_deg: Annotated[float, Field(ge=-90, le=90)] | None = None


class _Fitters(_Content):
    event: Annotated[run.Trigger, Field(strict=False)]
    setback_mm: _Setback | None = None
    setting: _Set | None = None
    u_setback_mm: Annotated[float, Field(ge=0, le=100)] | None = None


class _Reading(_Content):
    hands: _Shown
    saddle: _Shown | None = None


class _Effort(_Content):
    power_w: Annotated[float, Field(ge=0, le=2000)]
    cadence_rpm: Annotated[float, Field(gt=0, le=250)]


class _GoneOn(_Content):
    positions_mm: Annotated[list[_Setback], Field(max_length=MOST_POSITIONS)]


class _Seated(_Content):
    mass_kg: Annotated[float, Field(gt=0, le=500)] | None


class _Marked(_Content):
    text: Annotated[str, Field(max_length=2000)] | None = None
    """None: an export for research leaves out what was typed."""
    setback_mm: _Setback | None = None


class _Noted(_Content):
    step: Annotated[int, Field(ge=0, lt=MOST_STEPS)]
    what: Annotated[str, Field(max_length=40)]
    value: Annotated[float, Field(ge=-1000, le=1000)]


class _Failed(_Content):
    item: Annotated[str, Field(max_length=200)]
    error: Annotated[str, Field(max_length=200)]
    last_us: Annotated[int, Field(ge=0, le=LATEST_US)]


class _Zero(_Content):
    zero_counts: _Counts | None


class _Named(_Content):
    name: _Name


class _Greeting(_Content):
    channels: Annotated[list[_Named], Field(min_length=1, max_length=MAX_CHANNELS, strict=False)]


class _Lost(_Content):
    said: Annotated[str, Field(max_length=2000)]
    source: Annotated[str, Field(max_length=200)]
    to_us: Annotated[int, Field(ge=0, le=LATEST_US)]
    scans: Annotated[int, Field(ge=0)] | None


_CONTENT: Mapping[str, type[_Content]] = {
    SWEEP_BEGUN: _Begun,
    CHECKED: _Checked,
    FITTER: _Fitters,
    GONE_ON: _GoneOn,
    READING: _Reading,
    EFFORT: _Effort,
    SEATED: _Seated,
    ZERO: _Zero,
    MARK: _Marked,
    STEP_NOTE: _Noted,
    STAGE_FAILED: _Failed,
    LOST: _Lost,
}
"""The content of events from which something is computed."""


def checked(item: Item) -> Item:
    """The item, if the pipeline can take it. ValueError that says what was expected."""
    match item:
        case Samples():
            _check_scans(item)
        case Hello(content=content):
            _check_time(item.received_us)
            _check(_Greeting, content, "hello")
        case Notification(payload=payload):
            _check_time(item.received_us)
            if len(payload) > MOST_PAYLOAD_BYTES:
                raise ValueError(f"notification: expected at most {MOST_PAYLOAD_BYTES} bytes, got {len(payload)}")
        case Event(kind=kind, content=content):
            _check_time(item.received_us)
            if not isinstance(content, dict):
                raise ValueError(f"event {kind}: expected an object, got {type(content).__name__}")
            if kind in _CONTENT:
                _check(_CONTENT[kind], content, kind)
            if kind == SWEEP_BEGUN:
                _check_plan(content["plan"])
    return item


def _check_scans(samples: Samples) -> None:
    channels = samples.counts.shape[1]
    if not 0 < channels <= MAX_CHANNELS:
        raise ValueError(f"scans: expected 1 to {MAX_CHANNELS} channels, got {channels}")
    for received_us in [*samples.received_us[:1].tolist(), int(samples.received_us.max())]:
        _check_time(received_us)


def _check_time(received_us: int) -> None:
    if not 0 <= received_us <= LATEST_US:
        raise ValueError(f"received_us: expected 0 to {LATEST_US} microseconds, got {received_us}")


def _check_plan(content: Mapping[str, Any]) -> None:
    """The plan has to be valid, type for type; a JSON list stands for the tuple of positions."""
    unknown = sorted(content.keys() - {field.name for field in fields(Plan)})
    if unknown:
        raise ValueError(f"plan: {unknown[0]!r} is none of its keys")
    try:
        _plans().validate_python({**content, "positions_mm": tuple(content.get("positions_mm") or ())})
    except (ValidationError, TypeError) as error:
        raise ValueError(f"plan: {_first(error)}") from error


@cache
def _plans() -> TypeAdapter[Plan]:
    return TypeAdapter(Plan)


def _check(model: type[_Content], content: Any, where: str) -> None:
    try:
        model.model_validate(content)
    except ValidationError as error:
        raise ValueError(f"{where}: {_first(error)}") from error


def _first(error: Exception) -> str:
    """The first error, in one line."""
    if not isinstance(error, ValidationError):
        return str(error)
    first = error.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place}: {plainly(first)}" if place else plainly(first)
