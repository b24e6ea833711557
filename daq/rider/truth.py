"""The truth about a simulated rider on its jig: travels with every simulated recording and draws the expected curve."""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace

import numpy as np

from daq.rider.budget import Budget, posture
from daq.rider.confounds import NONE, Confounds
from daq.rider.model import torque_of

LABEL = "simulated rider: a model, not a measurement"
_REACH_MM = 15.0
"""Slopes are taken over this far either side of the onset."""
_CURVE_EVERY_MM = 1.0


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth at one gradient and effort: plain numbers, ready for a file."""

    label: str
    kind: str
    onset_mm: float | None
    """None: this rider has none."""
    added_slope_n_per_mm: float | None
    """How much steeper hand load rises forward of the onset than behind it."""
    light_slope_n_per_mm: float
    gradient_pct: float
    power_w: float
    cadence_rpm: float
    curve_setback_mm: tuple[float, ...]
    curve_hands_n: tuple[float, ...]
    """Expected hand load along setback, settled, without sway and drift."""
    confounds: Confounds = NONE
    """What else is wrong with this rider and jig."""


@functools.lru_cache(maxsize=32)
def truth(budget: Budget, tilt_rad: float, power_w: float, cadence_rpm: float) -> Truth:
    """The truth for a budget at a tilt and effort, with the curve over all reachable setbacks from 0 to 120 mm.

    Kept, as the curve takes 60 ms and is told where a session begins and where it ends.
    """
    torque_nm = torque_of(power_w, cadence_rpm)
    rear_mm, front_mm = budget.reachable_mm(tilt_rad)
    setbacks = np.arange(max(front_mm, 0.0), min(rear_mm, 120.0) + 0.5 * _CURVE_EVERY_MM, _CURVE_EVERY_MM).tolist()
    onset_mm = budget.onset_mm(tilt_rad, torque_nm)
    return Truth(
        label=LABEL,
        kind=budget.model.kind.value,
        onset_mm=onset_mm,
        added_slope_n_per_mm=None if onset_mm is None else _added_slope(budget, onset_mm, tilt_rad, torque_nm),
        light_slope_n_per_mm=budget.model.light_slope_n_per_mm,
        gradient_pct=100.0 * float(np.tan(tilt_rad)),
        power_w=power_w,
        cadence_rpm=cadence_rpm,
        curve_setback_mm=tuple(setbacks),
        curve_hands_n=tuple(hands_n(budget, s, tilt_rad, torque_nm) for s in setbacks),
        confounds=budget.model.confounds,
    )


def hands_n(budget: Budget, setback_mm: float, tilt_rad: float, torque_nm: float) -> float:
    """Expected hand load, settled, without sway and drift."""
    at = posture(budget.model, budget.geometry, setback_mm, tilt_rad)
    return float(budget.hands_n(at, torque_nm))


def _added_slope(budget: Budget, onset_mm: float, tilt_rad: float, torque_nm: float) -> float:
    sharp = replace(budget, bend_nm=0.0)
    fore, here, aft = (hands_n(sharp, onset_mm + d, tilt_rad, torque_nm) for d in (-_REACH_MM, 0.0, _REACH_MM))
    return (fore - 2.0 * here + aft) / _REACH_MM
