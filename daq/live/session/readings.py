"""What the jig shows now, collected from its parts, for the checks before a sweep."""

from __future__ import annotations

import math

import numpy as np

from daq.fit.prechecks import JigReadings
from daq.items import POWER
from daq.live.session.acquisition import Acquisition
from daq.measure.calibration.status import CalibrationStatus
from daq.measure.mechanics import shares
from daq.measure.sum_check import SumCheck, riding_check
from daq.sweep.plan import Plan
from daq.values import NAN, Stroke

FRESH_S = 3.0
"""A stroke older than this, by the wall clock, says nothing about the current effort."""


def readings(at: Acquisition, *, plan: Plan | None, zero_us: int | None, calibration: CalibrationStatus) -> JigReadings:
    """For the sweep that is set up or in progress; plan: None without one. zero_us: when the zero in use was taken."""
    now_s, pace = at.clock.now_us() / 1e6, at.clock.pace
    stroke = at.stroke if at.stroke is not None and now_s - at.stroke.end_s < FRESH_S * pace else None
    heard = at.pipeline.sensors.effort_at(now_s) if at.rig.typed is not None else None
    power_w, cadence_rpm = heard or ((NAN, NAN) if stroke is None else (stroke.power_w, stroke.cadence_rpm))
    return JigReadings(
        troubles=at.troubles(),
        calibration=calibration.sentence,
        calibration_holds=calibration.allows_verdict,
        zero_age_s=None if zero_us is None else (now_s - zero_us / 1e6) / pace,
        weights=None if stroke is None else sum_while_riding(at, stroke),
        tilt_deg=_tilt_deg(at),
        gradient_pct=0.0 if plan is None else plan.gradient_pct,
        power_w=power_w,
        cadence_rpm=cadence_rpm,
        power_band_w=None if plan is None else plan.power_band_w,
        measures=measures(at),
    )


def measures(at: Acquisition) -> frozenset[str]:
    """Which optional quantities this rig has sensors for; a sensor that sends data counts as present."""
    heard = at.sensors.health[POWER].state(at.clock.now_us()) != "absent"
    typed = at.rig.typed
    there = {
        "saddle": bool(at.rig.columns("saddle")) and typed is None,
        "effort": at.rig.power is not None or heard,
        "zero": typed is None,
        "saddle, read": bool(at.rig.columns("saddle")) and typed is not None,
        "effort, typed": typed is not None and typed.effort == "typed",
    }
    return frozenset(name for name, known in there.items() if known)


def sum_while_riding(at: Acquisition, stroke: Stroke) -> SumCheck | None:
    """Whether cells and rider's mass agree, judged by the foot load of this stroke; None without a mass or a load."""
    mass_kg = at.rider.mass_kg
    if mass_kg is None or math.isnan(stroke.feet_n):
        return None
    tilt_deg = 0.0 if math.isnan(stroke.tilt_deg) else stroke.tilt_deg
    found = shares(stroke.hands_n, stroke.saddle_n, mass_kg=mass_kg, tilt_deg=tilt_deg, g_m_s2=at.rig.g_m_s2)
    names = at.rig.normal_cells
    return riding_check(found, stroke.cells_n[: len(names)], names)


def _tilt_deg(at: Acquisition) -> float:
    """Mean tilt over the last second, to a tenth of a degree; NaN without one."""
    newest = at.recent.last(1.0)
    values = np.concatenate([loads.tilt_deg for loads in newest]) if newest else np.empty(0)
    known = values[~np.isnan(values)]
    return round(float(known.mean()), 1) if len(known) else math.nan
