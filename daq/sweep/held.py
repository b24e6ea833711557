"""Whether the rider holds the plan's effort, judged over the last strokes, and what to say if not."""

from __future__ import annotations

import math
from collections.abc import Sequence

from daq.physics import power_w
from daq.sweep.plan import Plan
from daq.values import Stroke

BAND_STROKES = 4
"""Torque and cadence are judged over this many strokes: one stroke of a held effort scatters by 5 %."""


def effort(strokes: Sequence[Stroke]) -> tuple[float, float] | None:
    """Torque in N m and cadence in rpm over the last strokes; None before the first."""
    last = strokes[-BAND_STROKES:]
    if not last:
        return None
    torque_nm = sum(stroke.crank_torque_nm for stroke in last) / len(last)
    return torque_nm, sum(stroke.cadence_rpm for stroke in last) / len(last)


def in_band(held: tuple[float, float] | None, plan: Plan) -> bool | None:
    """Whether torque and cadence are the plan's; None while the torque is unknown."""
    if held is None or math.isnan(held[0]):
        return None
    torque_nm, cadence_rpm = held
    return (
        abs(torque_nm - plan.torque_nm) <= plan.torque_band_nm
        and abs(cadence_rpm - plan.cadence_rpm) <= plan.cadence_band_rpm
    )


def what_is_off(held: tuple[float, float], plan: Plan) -> str:
    """The cadence or the power, whichever is away from the plan's: one target for each, whatever is ridden."""
    torque_nm, cadence_rpm = held
    low_w, high_w = plan.power_band_w
    if abs(cadence_rpm - plan.cadence_rpm) > plan.cadence_band_rpm:
        return f"cadence {cadence_rpm:.0f} rpm, bring it to {plan.cadence_rpm:.0f}"
    if low_w <= power_w(torque_nm, cadence_rpm) <= high_w:  # held by a trainer: more effort would not be possible
        push = "hard" if torque_nm > plan.torque_nm else "light"
        return f"at {cadence_rpm:.0f} rpm the push is a little {push}: bring the cadence to {plan.cadence_rpm:.0f}"
    more_or_less = "a little less" if torque_nm > plan.torque_nm else "a little more"
    return f"{more_or_less} effort: bring the power to {plan.power_w:.0f} W at {plan.cadence_rpm:.0f} rpm"
