"""Ridden sweeps made of numbers, for the tests of what a decision rests on."""

import numpy as np

from daq.fit.intake import Feel, Intake, OwnBicycle, Saddle
from daq.fit.ridden import Ridden
from daq.rig_file import parse_rig
from daq.sweep.onset import onset
from daq.sweep.plan import Plan, out_and_back
from daq.values import Status, StepMean, Stroke

RIG = parse_rig("""
name = "test jig"
[board]
port = "/dev/null"
[[channels]]
name = "hands"
role = "hands"
[[channels]]
name = "nose"
role = "saddle"
x_mm = -60.0
[[channels]]
name = "rear"
role = "saddle"
x_mm = -240.0
[geometry]
bar_x_m = 0.54
bar_y_m = 0.68
saddle_y_m = 0.70
""")
BICYCLE = OwnBicycle(wheelbase_mm=985, chainstay_mm=410, bb_drop_mm=70, wheel_radius_mm=340, mass_kg=8.5)
INTAKE = Intake(mass_kg=75.0, saddle=Saddle(reference="nose", setback_mm=78.0, nose_to_width_mm=75.0), bicycle=BICYCLE)
SADDLE_N = 430.0


def feeling(**scores):
    return INTAKE.model_copy(update={"feel": Feel(**scores)})


def step(setback_mm, hand_n, *, t_min=0.0, torque_nm=21.2, creep_mm_per_min=0.0, tilt_deg=0.0):
    """A step of 38 strokes; the saddle's load point moves forward at this rate, 150 mm behind the reference."""
    sway_n = np.random.default_rng(round(10 * setback_mm + 1000 * t_min)).normal(0.0, 3.0, 38)
    hands_n = hand_n + sway_n - sway_n.mean()
    strokes = []
    for i in range(38):
        start_s = 60.0 * t_min + i / 1.5
        nose_share = (240.0 - 150.0 + creep_mm_per_min * i / 90.0) / 180.0
        cells = (float(hands_n[i]), SADDLE_N * nose_share, SADDLE_N * (1 - nose_share))
        strokes.append(
            Stroke(
                start_s, start_s + 2 / 3, cells[0], SADDLE_N, 225.0, tilt_deg, torque_nm, 200.0, cells, 67, Status(0)
            )
        )
    return StepMean(setback_mm, hand_n, 1.5, t_min, torque_nm, SADDLE_N, tilt_deg, tuple(strokes))


def ridden(load_n=None, *, positions=None, notes=None, marks=(), answer=True, torque_nm=None, creep=0.0, **plan):
    """A sweep whose hand load is load_n(setback): a bend at 55 mm, 1.5 N/mm, unless told otherwise."""
    positions = positions or out_and_back(80.0, 30.0, 11)
    load_n = load_n or (lambda mm: 80.0 + 1.5 * max(55.0 - mm, 0.0))
    steps = tuple(
        step(
            mm,
            load_n(mm) + 0.4 * (-1) ** i,
            t_min=0.8 * i,
            torque_nm=21.2 if torque_nm is None else torque_nm(mm),
            creep_mm_per_min=creep + 0.3 * (-1) ** i,
        )
        for i, mm in enumerate(positions)
    )
    planned = Plan(positions, **plan)
    found = onset(steps, step_off_mm=planned.step_off_mm, loaded_chance=planned.loaded_chance) if answer else None
    return Ridden(1, planned, "finished", steps, found, 75.0, notes or {}, marks)
