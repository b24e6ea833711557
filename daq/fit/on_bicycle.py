"""A sweep transferred to the client's own bicycle: front-wheel share, and the moment the hands still hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.fit.intake import OwnBicycle
from daq.fit.load_uncertainty import uncertainty_of
from daq.fit.ridden import Ridden
from daq.jig import along_said, bar_goes_from_mm, levers_of, places_of, unseen_of
from daq.measure.balance import (
    CELLS_U_N,
    WeightLine,
    com_height,
    hands_off_deficit_nm,
    tangential_n,
)
from daq.measure.bicycle import Bicycle, front_share
from daq.measure.mechanics import load_point_m
from daq.measure.weight_line import contacts, line_at, tilt_at_deg
from daq.rig import Rig
from daq.sweep.places import SAME_PLACE_MM
from daq.values import Z_95, Array, StepMean

U_LEVER_M = 0.010
"""Standard uncertainty of the distance between hands and saddle load. Assumption."""

SADDLE_UNKNOWN = "the load on the saddle is not known at every step"
TILT_OF_PLAN = "the jig's tilt is not measured: taken as the plan's gradient"


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval, or the reason there is none."""

    value: float | None
    low: float | None
    high: float | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class OnBicycle:
    """At one setback."""

    setback_mm: float
    front_share: Estimate
    """Fraction."""
    hands_off_deficit_nm: Estimate
    rests_on: str = ""
    """What both assume."""


def on_bicycle(sweep: Ridden, rig: Rig, bicycle: OwnBicycle | None, setback_mm: float) -> OnBicycle:
    """At this setback, from a straight line through all steps. The intervals include the calibration's uncertainty,
    what single-axis cells do not see, and the scatter of the steps about the line."""
    lines, deficits, why_not = _each_step(sweep, rig)
    if why_not:
        nothing = Estimate(None, None, None, why_not)
        return OnBicycle(setback_mm, nothing, nothing)
    untold = TILT_OF_PLAN if any(math.isnan(step.tilt_deg) for step in sweep.steps) else ""
    rests_on = "; ".join(filter(None, (along_said(rig), untold)))
    deficit, se_deficit = _at([deficit for deficit, _ in deficits], sweep, setback_mm)
    half = Z_95 * math.hypot(max(u for _, u in deficits), se_deficit)
    front = _front(sweep, bicycle, lines, setback_mm)
    return OnBicycle(setback_mm, front, Estimate(deficit, deficit - half, deficit + half), rests_on)


def front_shares(sweep: Ridden, rig: Rig, bicycle: OwnBicycle | None, at_mm: Sequence[float]) -> list[Estimate]:
    """The front-wheel share at each of these setbacks, in one pass over the steps."""
    lines, _, why_not = _each_step(sweep, rig)
    if why_not:
        return [Estimate(None, None, None, why_not) for _ in at_mm]
    return [_front(sweep, bicycle, lines, mm) for mm in at_mm]


def front_share_each(sweep: Ridden, rig: Rig, bicycle: OwnBicycle | None) -> list[float]:
    """The front-wheel share of each step by itself, a fraction; NaN where it is not known."""
    lines, _, why_not = _each_step(sweep, rig)
    unknown = bicycle is None or bicycle.wheelbase_mm is None or bicycle.chainstay_mm is None
    if why_not or unknown or sweep.mass_kg is None:
        return [math.nan for _ in sweep.steps]
    assert bicycle is not None
    return [
        front_share(
            frame_of(bicycle),
            mass_kg=sweep.mass_kg,
            weight_line_m=line.estimate_m,
            u_weight_line_m=0.0,
            tilt_deg=tilt_at_deg(step, sweep.plan.gradient_pct),
        ).fraction
        for line, step in zip(lines, sweep.steps, strict=True)
    ]


def com_height_said(level: Ridden | None, climb: Ridden | None, rig: Rig) -> str:
    """Height of the rider's centre of mass over the BB from the two sweeps, or why it is unavailable."""
    sweeps, lines = [one for one in (level, climb) if one is not None], []
    if not sweeps:
        return "not available: no sweep yet"
    for sweep in sweeps:
        found, _, why_not = _each_step(sweep, rig)
        if why_not:
            return f"not available: {why_not}"
        lines.append(found)
    at = [0] if len(sweeps) == 1 else _nearest(*(one.steps for one in sweeps))
    height = com_height([each[i] for i, each in zip(at, lines, strict=True)], [one.plan.gradient_pct for one in sweeps])
    if height.y_m is None or height.u_m is None:
        return height.reason
    if np.ptp([sweep.steps[i].setback_mm for i, sweep in zip(at, sweeps, strict=True)]) >= SAME_PLACE_MM:
        return "not available: no setback was ridden both level and on the climb"
    y_mm, half_mm = 1000.0 * height.y_m, 1000.0 * Z_95 * height.u_m
    return f"{y_mm:.0f} mm, 95 % {y_mm - half_mm:.0f} to {y_mm + half_mm:.0f} mm"


def _nearest(level: Sequence[StepMean], climb: Sequence[StepMean]) -> tuple[int, int]:
    """The steps of the two sweeps that were ridden nearest to each other: the body goes along with the saddle."""
    apart_mm = np.abs(np.subtract.outer([one.setback_mm for one in level], [one.setback_mm for one in climb]))
    i, j = np.unravel_index(int(np.argmin(apart_mm)), apart_mm.shape)
    return int(i), int(j)


def _front(sweep: Ridden, bicycle: OwnBicycle | None, lines: list[WeightLine], setback_mm: float) -> Estimate:
    if bicycle is None:
        return Estimate(None, None, None, "the client's bicycle was not entered")
    if bicycle.wheelbase_mm is None or bicycle.chainstay_mm is None:
        return Estimate(None, None, None, "wheelbase and chainstay of the client's bicycle were not entered")
    x_m, se_m = _at([line.estimate_m for line in lines], sweep, setback_mm)
    if math.isnan(x_m):
        return Estimate(None, None, None, "the crank torque is unknown: no power sensor was read")
    assert sweep.mass_kg is not None
    found = front_share(
        frame_of(bicycle),
        mass_kg=sweep.mass_kg,
        weight_line_m=x_m,
        u_weight_line_m=math.hypot(max(line.u_m for line in lines if not math.isnan(line.u_m)), se_m),
        tilt_deg=float(np.mean([tilt_at_deg(step, sweep.plan.gradient_pct) for step in sweep.steps])),
    )
    low, high = found.interval_95
    return Estimate(found.fraction, low, high)


def frame_of(bicycle: OwnBicycle) -> Bicycle:
    """The client's bicycle in metres. ValueError if its dimensions are inconsistent, or one is unknown."""
    if bicycle.wheelbase_mm is None or bicycle.chainstay_mm is None:
        raise ValueError("wheelbase and chainstay of the client's bicycle were not entered")
    return Bicycle(
        wheelbase_m=bicycle.wheelbase_mm / 1000,
        chainstay_m=bicycle.chainstay_mm / 1000,
        bb_drop_m=bicycle.bb_drop_mm / 1000,
        wheel_radius_m=bicycle.wheel_radius_mm / 1000,
        mass_kg=bicycle.mass_kg,
        com_x_m=bicycle.com_x_mm / 1000,
        com_y_m=bicycle.com_y_mm / 1000,
    )


def saddle_points_m(step: StepMean, rig: Rig) -> Array:
    """The saddle's centre of pressure in each stroke, m forward of the BB, (strokes,); empty if the rig file does not
    say where its saddle cells sit."""
    found = places_of(rig, "saddle")
    columns, places = [column for column, _ in found], [x_mm for _, x_mm in found]
    if any(x is None for x in places):
        return np.empty(0)
    x_m = (np.array(places, dtype=np.float64) - step.setback_mm) / 1000.0
    cells = np.array([[stroke.cells_n[i] for i in columns] for stroke in step.strokes])
    return np.array([load_point_m(row, x_m) for row in cells])


def _each_step(sweep: Ridden, rig: Rig) -> tuple[list[WeightLine], list[tuple[float, float]], str]:
    if sweep.mass_kg is None:
        return [], [], "the rider's mass is not known"
    if len(sweep.steps) < 2:
        return [], [], "fewer than two steps"
    if why_not := _unplaced(rig):
        return [], [], why_not
    unseen, levers = unseen_of(rig), levers_of(rig)
    lines, deficits = [], []
    for step in sweep.steps:
        if not step.strokes:
            return [], [], SADDLE_UNKNOWN
        u_hands_n, u_saddle_n = (_u_n(step, sweep, rig, role) for role in ("hands", "saddle"))
        hands, saddle = contacts(step, levers, bar_goes_from_mm(sweep.plan), u_hands_n=u_hands_n, u_saddle_n=u_saddle_n)
        if math.isnan(saddle.x_m):
            return [], [], SADDLE_UNKNOWN
        lines.append(
            line_at(
                step,
                (hands, saddle),
                mass_kg=sweep.mass_kg,
                g_m_s2=rig.g_m_s2,
                gradient_pct=sweep.plan.gradient_pct,
                unseen=unseen,
            )
        )
        u_normal_nm = math.hypot((hands.x_m - saddle.x_m) * hands.u_n, step.hand_load_n * U_LEVER_M)
        _, u_along_n = tangential_n(hands, unseen)
        u_nm = math.hypot(u_normal_nm, (hands.y_m - saddle.y_m) * u_along_n)
        deficits.append((hands_off_deficit_nm(hands, saddle, unseen), u_nm))
    return lines, deficits, ""


def _unplaced(rig: Rig) -> str:
    """Why this rig cannot tell where on the saddle the rider sits; empty if it can."""
    cells = places_of(rig, "saddle")
    if not cells:
        return "there is no cell under the saddle"
    if any(x_mm is None for _, x_mm in cells):
        return "the rig file does not say where the saddle's cells sit"
    return "" if levers_of(rig).tells else "one saddle cell cannot tell where on the saddle the rider sits"


def _u_n(step: StepMean, sweep: Ridden, rig: Rig, role: str) -> float:
    """Standard uncertainty of the step's load on hands or saddle, from the sweep's calibration, or assumed without
    one."""
    if sweep.calibration is None:
        return CELLS_U_N
    cells_n = np.mean([stroke.cells_n for stroke in step.strokes], axis=0)
    found = uncertainty_of(sweep.calibration, rig, cells_n.tolist(), role)
    return CELLS_U_N if found is None else found.standard_n


def _at(values: list[float], sweep: Ridden, setback_mm: float) -> tuple[float, float]:
    """The value at a setback by a straight line through the steps, and its standard error from the scatter about it.

    The mean if all are at one setback; NaN if no step has a value; error 0 from fewer than three steps.
    """
    x = np.array([step.setback_mm for step in sweep.steps])
    y = np.array(values)
    known = ~np.isnan(y)
    x, y = x[known], y[known]
    if len(x) < 2 or np.ptp(x) == 0.0:
        return (float(y.mean()), 0.0) if len(y) else (math.nan, 0.0)
    slope, level = np.polyfit(x - x.mean(), y, 1)
    from_middle = setback_mm - float(x.mean())
    if len(x) < 3:
        return float(level + slope * from_middle), 0.0
    spread = float(np.sum((x - x.mean()) ** 2))
    variance = float(np.sum((y - level - slope * (x - x.mean())) ** 2)) / (len(x) - 2)
    return float(level + slope * from_middle), math.sqrt(variance * (1.0 / len(x) + from_middle**2 / spread))
