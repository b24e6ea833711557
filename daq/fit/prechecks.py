"""What has to be checked before a sweep, in the order in which it disturbs the answer: anything that can pass for an
effect of setback is excluded before setback is blamed. Pure: what the jig shows now comes in as JigReadings, what
the fitter has entered as Measured.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from pydantic import Field

from daq.fit.height import height_said
from daq.fit.intake import FormPart, Hands, Intake, Line
from daq.fit.stepping import over_bb_mm
from daq.measure.geometry import level_warning, tilt_deg_of
from daq.measure.sum_check import SumCheck

ZERO_GOOD_S = 3600.0
"""A zero older than this has to be taken again: cells warm up and creep. Common practice, no source."""
USUAL_HEIGHT_MM = 730.0
"""BB to saddle top along the seat tube, used until it is measured: 700 mm over the BB."""
TRIAGE = "Order: cells and zero, level, feet, height, saddle tilt, hands, effort. Then setback; then reach and drop."


class CheckState(StrEnum):
    """The status of one check."""

    DONE = "done"
    OPEN = "open"
    """Not done yet, or not right."""
    OVERRIDDEN = "overridden"
    """Not right, but the fitter goes on with a reason that is printed."""
    NOT_MEASURED = "not measured"
    """This rig has no sensor for it: the answer says so, and it blocks nothing."""


class Measured(FormPart):
    """What the fitter has measured and set today, on the jig."""

    height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None
    knee_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    saddle_tilt_deg: Annotated[float, Field(ge=-20, le=20)] | None = None
    cleats_set: bool = False
    hands_marked: bool = False
    hands: Hands | None = None
    note: Line = ""


@dataclass(frozen=True, slots=True)
class JigReadings:
    """What the jig shows now."""

    troubles: Mapping[str, str]
    """What is wrong, by source or cell; empty text if nothing is."""
    calibration: str
    """Its status, in a sentence."""
    calibration_holds: bool
    """Whether a verdict may rest on it."""
    zero_age_s: float | None
    """Time since the zero was taken; None if not taken today."""
    weights: SumCheck | None
    """Whether loads and mass agree in the last stroke; None while nobody pedals or no mass is known."""
    tilt_deg: float
    """NaN without a tilt sensor."""
    gradient_pct: float
    """What the plan requires of the jig."""
    power_w: float
    cadence_rpm: float
    """NaN while the rider does not pedal."""
    power_band_w: tuple[float, float] | None
    """None before a plan is set."""
    measures: frozenset[str] = frozenset({"saddle", "effort", "zero"})
    """Which optional quantities this rig has sensors for."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check with its status."""

    key: str
    title: str
    state: CheckState
    said: str
    """What was found, with numbers."""
    todo: str
    """What to do about it; empty if done."""
    reason: str = ""
    """Why it was overridden."""


def prechecks(intake: Intake, measured: Measured, now: JigReadings, reasons: Mapping[str, str]) -> tuple[Check, ...]:
    """All checks in triage order. reasons: why the fitter goes on without a check, by the check's key."""
    found = (
        _cells(now),
        _calibration(now),
        _zero(now),
        _weights(now),
        _level(measured, now),
        _cleats(measured),
        _height(intake, measured),
        _tilt(measured),
        _hands(intake, measured),
        _effort(now),
    )
    return tuple(_overridden(check, reasons.get(check.key, "")) for check in found)


def open_in_the_way(checks: tuple[Check, ...]) -> str:
    """Why a sweep may not begin yet, in one sentence; empty if it may."""
    names = [check.title.lower() for check in checks if check.state is CheckState.OPEN]
    if not names:
        return ""
    return f"checks still open: {', '.join(names)}"


def _check(key: str, title: str, done: bool, said: str, todo: str) -> Check:
    return Check(key, title, CheckState.DONE if done else CheckState.OPEN, said, "" if done else todo)


def _unmeasured(key: str, title: str, said: str) -> Check:
    return Check(key, title, CheckState.NOT_MEASURED, f"not measured: {said}", "")


def _overridden(check: Check, reason: str) -> Check:
    if check.state is not CheckState.OPEN or not reason:
        return check
    return Check(check.key, check.title, CheckState.OVERRIDDEN, check.said, check.todo, reason)


def _cells(now: JigReadings) -> Check:
    wrong = [f"{name}: {text}" for name, text in now.troubles.items() if text]
    said = "; ".join(wrong) or "all sensors fresh"
    return _check("cells", "Sensors", not wrong, said, "fix what is named; numbers of a dead cell mislead")


def _calibration(now: JigReadings) -> Check:
    todo = "check it with a known weight, or calibrate, on the bench screen"
    if "zero" not in now.measures:
        todo = "check each scale with a known weight"
    todo = f"{todo}: without it no verdict is given"
    return _check("calibration", "Calibration", now.calibration_holds, now.calibration, todo)


def _zero(now: JigReadings) -> Check:
    if "zero" not in now.measures:
        return _unmeasured("zero", "Zero", "the scale's own; it is read empty when it is checked with a known weight")
    todo = "everybody and everything off the jig, then take the zero"
    if now.zero_age_s is None:
        return _check("zero", "Zero", False, "not taken today", todo)
    said = f"taken {now.zero_age_s / 60:.0f} min ago"
    return _check("zero", "Zero", now.zero_age_s <= ZERO_GOOD_S, said, f"older than an hour: {todo}")


def _weights(now: JigReadings) -> Check:
    key, title = "weights", "Sum of the loads"
    if "saddle, read" in now.measures:
        return _unmeasured(key, title, "judged by the readings of both scales, in the answer")
    if "saddle" not in now.measures:
        return _unmeasured(key, title, "no cell under the saddle: a wrong mass, zero or cell cannot show in the sum")
    if now.weights is None:
        return _check(
            key, title, False, "not judged yet", "it is judged while the rider, weighed, pedals in the saddle"
        )
    return _check(key, title, now.weights.passed, now.weights.text, "then ride on; it is judged again at every stroke")


def _level(measured: Measured, now: JigReadings) -> Check:
    wanted = tilt_deg_of(now.gradient_pct)
    if math.isnan(now.tilt_deg):
        return _check(
            "level", "Level", False, "no tilt is measured", "read a level and go on with its reading as reason"
        )
    off = now.tilt_deg - wanted
    said = f"{now.tilt_deg:z.1f}°, {abs(off):.1f}° from the {now.gradient_pct:g} % planned"
    todo = level_warning(off, over_bb_mm(measured.height_mm or USUAL_HEIGHT_MM))
    return _check("level", "Level", not todo, said, todo)


def _cleats(measured: Measured) -> Check:
    said = "set and tight" if measured.cleats_set else "not looked at"
    return _check(
        "cleats", "Feet and cleats", measured.cleats_set, said, "set the cleats first: they move the whole leg"
    )


def _height(intake: Intake, measured: Measured) -> Check:
    said = height_said(measured.height_mm, intake.inseam_mm, intake.crank_mm, measured.knee_deg)
    return _check("height", "Saddle height", measured.height_mm is not None, said, "measure BB to saddle top")


def _tilt(measured: Measured) -> Check:
    tilt = measured.saddle_tilt_deg
    said = "not measured"
    if tilt is not None:
        shown = round(tilt, 1)
        said = f"{shown:+z.1f}°, nose {'up' if shown > 0 else 'down' if shown < 0 else 'level'}"
    return _check(
        "tilt", "Saddle tilt", tilt is not None, said, "measure it: nose down slides the rider onto the hands"
    )


def _hands(intake: Intake, measured: Measured) -> Check:
    where = measured.hands or intake.hands
    said = f"{where}, {'marked' if measured.hands_marked else 'not marked'}"
    todo = "mark with tape where the hands lie: one step in the drops looks like an onset"
    return _check("hands", "Hand position", measured.hands_marked, said, todo)


def _effort(now: JigReadings) -> Check:
    if now.power_band_w is None:
        return _check("effort", "Power and cadence", False, "no plan is set", "set a plan: it names the band")
    low, high = now.power_band_w
    if "effort, typed" in now.measures:
        said = f"read off the trainer and typed at each position; hold {0.5 * (low + high):.0f} W"
        return _check("effort", "Power and cadence", True, said, "")
    if "effort" not in now.measures:
        said = f"no power sensor: hold {0.5 * (low + high):.0f} W by the trainer; a rise may be seen, no onset is named"
        return _unmeasured("effort", "Power and cadence", said)
    band = f"recording runs only from {low:.0f} to {high:.0f} W"
    if math.isnan(now.power_w):
        return _check(
            "effort", "Power and cadence", False, f"{band}; no power is read", "let the rider pedal in the band"
        )
    if math.isnan(now.cadence_rpm):
        todo = "take a sensor that counts crank turns, or type power and cadence"
        return _check("effort", "Power and cadence", False, f"{now.power_w:.0f} W and no cadence", todo)
    said = f"{now.power_w:.0f} W at {now.cadence_rpm:.0f} rpm; {band}"
    return _check("effort", "Power and cadence", True, said, "")
