"""A sweep step by step: what was ridden, what moved with the saddle, and the uncertainty of each number."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.fit.intake import Saddle
from daq.fit.load_uncertainty import uncertainty_of
from daq.fit.on_bicycle import saddle_points_m
from daq.fit.ridden import Ridden
from daq.fit.setting import Start, as_set, start_of
from daq.fit.stepping import Stepping, stepping
from daq.fit.stroke_watch import StepShape
from daq.measure.mechanics import Shares, ShareUncertainty, shares
from daq.measure.ripple import Ripple
from daq.measure.weight_line import tilt_at_deg
from daq.rig import Rig
from daq.values import StepMean

TWICE = 1
"""Place of the twice-a-turn harmonic."""


@dataclass(frozen=True, slots=True)
class Rippled:
    """The twice-a-turn ripple of one load, N, with its standard uncertainty; peak NaN without a crank mark."""

    amplitude_n: float
    u_n: float
    peak_deg: float
    evenness: float


@dataclass(frozen=True, slots=True)
class StepRow:
    """One position. NaN or None where something is unknown."""

    setback_mm: float
    moved: Stepping
    """By the plan."""
    reach_change_mm: float
    drop_change_mm: float
    """As set, relative to the first position; NaN where nobody confirmed it and no sensor read it."""
    shares: Shares | None
    """None without the rider's mass."""
    load_point_mm: float
    """The saddle's centre of pressure, behind the BB."""
    torque_nm: float
    hands_ripple: Rippled | None
    saddle_ripple: Rippled | None
    top: tuple[float, float] | None
    """One leg's torque near the top over its mean, with its standard error."""
    bottom: tuple[float, float] | None
    top_dead_spot_deg: tuple[float, float] | None
    bottom_dead_spot_deg: tuple[float, float] | None


def step_table(sweep: Ridden, rig: Rig, saddle: Saddle) -> tuple[StepRow, ...]:
    """All steps as they were ridden."""
    found = sweep.shapes if len(sweep.shapes) == len(sweep.steps) else (None,) * len(sweep.steps)
    start = start_of(sweep.plan, rig.geometry, next(iter(sweep.steps), None))
    return tuple(_row(step, shape, sweep, rig, saddle, start) for step, shape in zip(sweep.steps, found, strict=True))


def shares_of(step: StepMean, sweep: Ridden, rig: Rig) -> Shares | None:
    """How the weight was shared, with the calibration's uncertainties; None without the mass."""
    if sweep.mass_kg is None:
        return None
    return shares(
        step.hand_load_n,
        step.saddle_load_n,
        mass_kg=sweep.mass_kg,
        tilt_deg=tilt_at_deg(step, sweep.plan.gradient_pct),
        g_m_s2=rig.g_m_s2,
        u=_uncertainty(step, sweep, rig),
    )


def _uncertainty(step: StepMean, sweep: Ridden, rig: Rig) -> ShareUncertainty:
    assumed = ShareUncertainty()
    if sweep.calibration is None or not step.strokes:
        return assumed
    cells_n = np.mean([stroke.cells_n for stroke in step.strokes], axis=0).tolist()
    hands, saddle = (uncertainty_of(sweep.calibration, rig, cells_n, role) for role in ("hands", "saddle"))
    return ShareUncertainty(
        hands_n=assumed.hands_n if hands is None else hands.standard_n,
        saddle_n=assumed.saddle_n if saddle is None else saddle.standard_n,
    )


def _row(step: StepMean, shape: StepShape | None, sweep: Ridden, rig: Rig, saddle: Saddle, start: Start) -> StepRow:
    placed = as_set(start, step.setback_mm, step.setting)
    points_m = saddle_points_m(step, rig)
    torque = None if shape is None or shape.torque is None or shape.torque.limits else shape.torque
    return StepRow(
        setback_mm=step.setback_mm,
        moved=stepping(sweep.plan, step.setback_mm, saddle),
        reach_change_mm=placed.reach_change_mm,
        drop_change_mm=placed.drop_change_mm,
        shares=shares_of(step, sweep, rig),
        load_point_mm=-1000.0 * float(np.nanmean(points_m)) if np.isfinite(points_m).any() else math.nan,
        torque_nm=step.crank_torque_nm,
        hands_ripple=None if shape is None else _rippled(shape.hands),
        saddle_ripple=None if shape is None else _rippled(shape.saddle),
        top=None if torque is None else torque.top,
        bottom=None if torque is None else torque.bottom,
        top_dead_spot_deg=None if shape is None else shape.top_dead_spot_deg,
        bottom_dead_spot_deg=None if shape is None else shape.bottom_dead_spot_deg,
    )


def _rippled(found: Ripple) -> Rippled | None:
    if not found.harmonics or not found.harmonics[TWICE].visible:
        return None
    twice = found.harmonics[TWICE]
    return Rippled(twice.amplitude, twice.u_amplitude, twice.peak_deg, found.evenness)
