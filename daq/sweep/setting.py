"""How a jig can be set, and whether a stated setting is possible."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from daq.values import SEAT_TUBE_DEG, Setting

NOTHING_SET = Setting()
SEAT_TUBE = math.sin(math.radians(SEAT_TUBE_DEG))
"""Turns a height along the seat tube into one over the BB."""
MISPLACED_MM = 3.0
"""A saddle or bar further than this from the requested place is accepted as set, with a note to the fitter. Common
practice, no source."""
TILT_DEG = (-20.0, 20.0)
"""Of a saddle relative to the jig; nobody can sit on a steeper one."""
TILT_CHANGE_DEG = 0.5
"""More than this between positions: the saddle has slipped, and moves load to or from the hands by itself. Common
practice, no source."""


@dataclass(frozen=True, slots=True)
class JigRange:
    """Lowest and highest of what a jig can be set to, mm. The defaults hold any bicycle. Common practice, no source."""

    setback_mm: tuple[float, float] = (-100.0, 300.0)
    saddle_height_mm: tuple[float, float] = (400.0, 1000.0)
    bar_x_mm: tuple[float, float] = (100.0, 1000.0)
    bar_y_mm: tuple[float, float] = (200.0, 1200.0)
    reach_mm: tuple[float, float] = (250.0, 1000.0)
    """From the saddle's reference point forward to the bar."""


def contradiction(setback_mm: float, setting: Setting, jig: JigRange) -> str:
    """Which value this jig cannot have been set to, and what was expected; empty if the values are possible
    together."""
    low, high = jig.setback_mm
    if not low <= setback_mm <= high:
        return f"setback_mm: this jig goes from {low:g} to {high:g} mm, got {setback_mm:g}"
    limits = {
        "saddle_height_mm": (setting.saddle_height_mm, jig.saddle_height_mm),
        "bar_x_mm": (setting.bar_x_mm, jig.bar_x_mm),
        "bar_y_mm": (setting.bar_y_mm, jig.bar_y_mm),
        "saddle_tilt_deg": (setting.saddle_tilt_deg, TILT_DEG),
    }
    for name, (value, (low, high)) in limits.items():
        if value < low or value > high:  # neither for NaN, which means not stated
            unit = "degrees" if name.endswith("_deg") else "mm"
            return (
                f"{name}: this jig goes from {low:g} to {high:g} {unit}, got {value:g}{_other_unit(value, low, high)}"
            )
    reach_mm, (nearest, furthest) = setting.bar_x_mm + setback_mm, jig.reach_mm
    if reach_mm < nearest or reach_mm > furthest:
        return (
            f"bar_x_mm: {setting.bar_x_mm:g} mm with the saddle at {setback_mm:g} mm is a reach of {reach_mm:g} mm; "
            f"this jig has {nearest:g} to {furthest:g}"
        )
    return ""


def setting_of(said: Mapping[str, Any] | None) -> Setting:
    """The setting in an event's content: values that are missing or null were not stated."""
    known = {field.name for field in fields(Setting)}
    return Setting(
        **{name: float(value) for name, value in (said or {}).items() if name in known and value is not None}
    )


def with_tilt(setting: Setting, tilt_deg: float) -> Setting:
    """The setting with the saddle's tilt as it was read; NaN: nobody read it."""
    return setting if math.isnan(tilt_deg) else replace(setting, saddle_tilt_deg=tilt_deg)


def _other_unit(value: float, low: float, high: float) -> str:
    """A guess at the unit of a value that would fit in another one."""
    if math.isfinite(low) and low > 0.0:
        for factor, unit in ((10.0, "centimetres"), (1000.0, "metres"), (25.4, "inches")):
            if low <= factor * value <= high:
                return f": was it {unit}? That would be {factor * value:g} mm"
    return ""
