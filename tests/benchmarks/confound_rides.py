"""Whole sweeps of the simulated rider in strokes, through the sweep's own steps: what the confounds benchmark judges.

A fitter who follows the plan drives daq.sweep.progress, so settling, torque band, bursts and adaptive choice are those
of a real sweep. Everything is simulated; riders differ in onset, habit, body and luck, all seeded by line and number.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from daq.jig import weight_line_of
from daq.live.demo import rig_text_of
from daq.rider.body import Body
from daq.rider.confounds import NONE, Confounds
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, RiderModel, rider_of_kind, rider_with
from daq.rider.named import asked_for
from daq.rider.strokes import StrokeRider
from daq.rig_file import parse_rig
from daq.sweep.order import ordered, with_repeats, with_sham
from daq.sweep.plan import Plan, interleaved
from daq.sweep.progress import SweepProgress
from daq.sweep.run import ENDED, State, Trigger
from daq.values import NAN, StepMean
from tests.rider import other
from tests.rider.other import OtherRider

RIG = parse_rig(rig_text_of(JigGeometry(), "/dev/simulated"))
REAR_MM, FRONT_MM = 80.0, 30.0
MOVING_S = 20.0
PIECE_S = 6.0
LONGEST_S = 3600.0
GIVE_UP_S = 180.0
"""A place whose step does not end: enough."""
ORDERS = ("out and back", "shuffled", "one way forward", "one way back", "adaptive")


@dataclass(frozen=True)
class Line:
    """One line of the table: the riders, and what is wrong with them."""

    name: str
    kind: str = "hinge"
    slope: float = 1.0
    """Hand load per mm forward of the onset; of a straight rider, everywhere."""
    wrong: tuple[str, ...] = ()
    cure: str = ""
    """A pattern to be found in the reasons of a sweep without a verdict; empty: nothing to warn of."""
    n: int = 11
    dwell_s: float = 25.0
    sway_n: float = 4.0
    sway_s: float = 5.0
    sham: bool = False
    first_again: bool = False
    nose_and_rear: bool = True
    blinded: bool = False
    times: int = 1
    """Ridden so many times as often as others."""
    other: bool = False
    """Ridden by the other rider, of other assumptions: level or straight without an onset, as kind says."""


@dataclass(frozen=True)
class Ridden:
    """One sweep: its steps, what else is known of it, and the truth."""

    line: Line
    order: str
    plan: Plan
    mass_kg: float
    wrong: Confounds
    onset_mm: float | None
    steps: tuple[StepMean, ...]
    finished: bool


def ride(line: Line, order: str, number: int) -> Ridden:
    """Sweep number so and so of a line, ridden in an order."""
    rng = np.random.default_rng([number, *line.name.encode()])
    luck = np.random.default_rng([number, 1, *line.name.encode()])
    if line.other:
        return _ridden_by_other(line, order, rng, luck)
    model = rider(line, rng)
    plan = plan_of(line, order, rng)
    over_s = len(plan.positions_mm) * (MOVING_S + plan.settle_s + plan.dwell_s)
    model = replace(model, confounds=replace(model.confounds, fatigue_over_s=over_s, blinded=line.blinded))
    steps, finished = ridden(StrokeRider(model, luck), plan)
    mass_kg = model.body.mass_kg
    seen = tuple(
        with_weight_line(step, plan, mass_kg) if line.nose_and_rear else one_saddle_cell(step) for step in steps
    )
    onset_mm = model.onset_mm if model.has_onset else None
    return Ridden(line, order, plan, mass_kg, model.confounds, onset_mm, seen, finished)


def _ridden_by_other(line: Line, order: str, rng: np.random.Generator, luck: np.random.Generator) -> Ridden:
    onset_mm = float(rng.uniform(40.0, 70.0)) if line.kind == "hinge" else None
    plan = replace(plan_of(line, order, rng), power_w=other.POWER_W, cadence_rpm=other.CADENCE_RPM)
    steps, finished = ridden(OtherRider(luck, onset_mm, line.slope), plan)
    seen = tuple(with_weight_line(step, plan, other.MASS_KG) for step in steps)
    return Ridden(line, order, plan, other.MASS_KG, NONE, onset_mm, seen, finished)


def rider(line: Line, rng: np.random.Generator) -> RiderModel:
    """A rider of this line: a body, an onset in the central 60 % of the sweep, a habitual place."""
    base = replace(
        DEMO,
        body=Body(mass_kg=float(rng.uniform(55.0, 95.0)), stature_m=float(rng.uniform(1.76, 1.84))),
        onset_mm=float(rng.uniform(40.0, 70.0)),
        slope_n_per_mm=line.slope,
        light_slope_n_per_mm=line.slope if line.kind == "straight" else 0.0,
        light_torque_n_per_nm=float(rng.uniform(-2.8, -1.3)),
        sway_n=line.sway_n,
        sway_s=line.sway_s,
        drift_n_per_min=float(rng.normal(0.0, 0.3)),
    )
    habit = f"habit={rng.uniform(45.0, 70.0):.1f}"
    return rider_with(rider_of_kind(line.kind, base), asked_for([*line.wrong, habit]))


def plan_of(line: Line, order: str, rng: np.random.Generator) -> Plan:
    """The plan of a line in one order."""
    spaced = [round(x, 1) for x in np.linspace(REAR_MM, FRONT_MM, line.n).tolist()]
    positions = {
        "out and back": interleaved(spaced),
        "adaptive": interleaved(spaced),
        "shuffled": ordered(spaced, "shuffled", rng, sham=line.sham),
        "one way forward": tuple(spaced),
        "one way back": tuple(spaced[::-1]),
    }[order]
    if line.sham and order != "shuffled":
        positions = with_sham(positions)
    if line.first_again:
        positions = with_repeats(positions, middle=False)
    return Plan(
        positions_mm=tuple(positions),
        dwell_s=line.dwell_s,
        power_w=DEMO.power_w,
        cadence_rpm=DEMO.cadence_rpm,
        order="one way" if order.startswith("one way") else order,
        blinded=line.blinded,
    )


def ridden(jig: StrokeRider | OtherRider, plan: Plan) -> tuple[list[StepMean], bool]:
    """The steps of a plan, and whether it came to its end."""
    progress = SweepProgress(plan)
    progress.take(Trigger.BEGIN, jig.t_s)
    moved_s, gave_up = jig.t_s, False
    while progress.state not in ENDED and jig.t_s < LONGEST_S:
        if progress.state is State.MOVING and progress.asked_setback_mm is not None:
            jig.pass_time(MOVING_S)
            jig.place_saddle(progress.asked_setback_mm)
            progress.take(Trigger.SADDLE_MOVED, jig.t_s, setback_mm=progress.asked_setback_mm)
            moved_s = jig.t_s
        elif jig.t_s - moved_s > GIVE_UP_S:
            progress.take(Trigger.ENOUGH, jig.t_s)
            gave_up = True
        for stroke in jig.ride(PIECE_S):
            progress.feed(stroke)
    return progress.steps, not gave_up and progress.state in ENDED


def with_weight_line(step: StepMean, plan: Plan, mass_kg: float) -> StepMean:
    """The step with the weight line as the pipeline gives it."""
    return replace(step, weight_line_mm=weight_line_of(step, RIG, plan, mass_kg)[0])


def one_saddle_cell(step: StepMean) -> StepMean:
    """The step as a saddle on a single cell gives it."""
    strokes = tuple(replace(s, cells_n=(*s.cells_n[:2], s.cells_n[2] + s.cells_n[3])) for s in step.strokes)
    return replace(step, strokes=strokes, weight_line_mm=NAN)
