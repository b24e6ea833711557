"""Where saddle and bar should be at each position by the plan's policies, and what changed where they were set. Changes
count from the first position of the sweep if the fitter confirmed the setting there, otherwise from plan and rig file:
if the bar is 12 mm higher than the rig file says, that offset is kept automatically.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

from daq.fit.intake import Saddle
from daq.fit.stepping import over_bb_mm, seat_of
from daq.rig import Geometry
from daq.sweep.plan import Plan
from daq.sweep.setting import MISPLACED_MM, NOTHING_SET, TILT_CHANGE_DEG
from daq.values import NAN, Setting, StepMean

_NAMES = {"saddle_height_mm": "saddle height", "bar_x_mm": "bar forward", "bar_y_mm": "bar height"}


@dataclass(frozen=True, slots=True)
class Placed:
    """Saddle and bar at one position; NaN where unknown."""

    setback_mm: float
    setting: Setting
    reach_change_mm: float
    """Saddle to bar along the jig, relative to the start."""
    drop_change_mm: float
    """How much further the bar lies below the saddle than at the start."""


@dataclass(frozen=True, slots=True)
class Start:
    """The reference for settings: each value with the setback at which it applied."""

    setting: Setting
    from_mm: dict[str, float]


def start_of(plan: Plan, bar: Geometry, first: StepMean | None = None, *, saddle_tilt_deg: float = NAN) -> Start:
    """first: the first step of the sweep, None before it. saddle_tilt_deg: as measured before the sweep."""
    held_mm = plan.reference_setback_mm
    height_mm = NAN if plan.start_height_mm is None else plan.start_height_mm
    setting = Setting(height_mm, 1000.0 * bar.bar_x_m, 1000.0 * bar.bar_y_m, saddle_tilt_deg)
    from_mm = dict.fromkeys((field.name for field in fields(Setting)), held_mm)
    said = NOTHING_SET if first is None else first.setting
    for name in from_mm:
        value = getattr(said, name)
        if first is not None and math.isfinite(value):
            setting = replace(setting, **{name: value})
            from_mm[name] = first.setback_mm
    return Start(setting, from_mm)


def planned(plan: Plan, start: Start, setback_mm: float, saddle: Saddle | None = None) -> Placed:
    """Where the policies put saddle and bar at this setback."""
    bar_x_mm = start.setting.bar_x_mm
    if plan.protocol == "reach kept":
        bar_x_mm -= setback_mm - start.from_mm["bar_x_mm"]
    height_mm, bar_y_mm = start.setting.saddle_height_mm, start.setting.bar_y_mm
    if plan.height_policy == "leg extension kept" and math.isfinite(height_mm):
        seat = seat_of(start.from_mm["saddle_height_mm"], height_mm, saddle)
        height_mm += _along_seat_tube_mm(seat.at(setback_mm).height_mm - seat.height_mm)
        if plan.drop == "drop kept":
            bar_y_mm += seat.at(setback_mm).height_mm - seat.at(start.from_mm["bar_y_mm"]).height_mm
    setting = replace(start.setting, saddle_height_mm=height_mm, bar_x_mm=bar_x_mm, bar_y_mm=bar_y_mm)
    return as_set(start, setback_mm, setting)


def as_set(start: Start, setback_mm: float, setting: Setting) -> Placed:
    """The position as it was set, with the changes from the start."""
    reach_mm = setting.bar_x_mm + setback_mm - (start.setting.bar_x_mm + start.from_mm["bar_x_mm"])
    return Placed(setback_mm, setting, reach_mm, _drop_mm(setting) - _drop_mm(start.setting))


def surprises(asked_mm: float, wanted: Placed, setting: Setting) -> list[str]:
    """Where the jig was set differently from what was asked by more than a setting error: saddle and bar in one
    sentence, the setback first, for what the policies want of the rest follows it; the tilt in another. wanted: where
    they put it at the setback that was set; what is NaN in it or not stated is skipped.
    """
    places, at_mm = [], wanted.setback_mm
    misplaced = abs(at_mm - asked_mm) > MISPLACED_MM
    if misplaced:
        places.append(f"{asked_mm:g} mm was asked, {at_mm:g} mm is taken as set")
    where = f"goes with {at_mm:g} mm" if misplaced else "was planned"
    for name, what in _NAMES.items():
        planned_mm, set_mm = getattr(wanted.setting, name), getattr(setting, name)
        if abs(set_mm - planned_mm) > MISPLACED_MM:
            places.append(f"{what} {set_mm:g} mm is taken as set, {planned_mm:.0f} mm {where}")
    found = ["; ".join([*places, "undo if mistyped"])] if places else []
    off_deg = setting.saddle_tilt_deg - wanted.setting.saddle_tilt_deg
    if abs(off_deg) > TILT_CHANGE_DEG:
        found.append(
            f"the saddle's tilt differs by {off_deg:+z.1f}° from before: more than {TILT_CHANGE_DEG:g}° moves load to "
            "or from the hands by itself"
        )
    return found


def _drop_mm(setting: Setting) -> float:
    return over_bb_mm(setting.saddle_height_mm) - setting.bar_y_mm


def _along_seat_tube_mm(over_mm: float) -> float:
    """A change of height over the BB as one along the seat tube."""
    return over_mm / over_bb_mm(1.0)
