"""The simulated rider's supports against MuJoCo, a general physics engine: the same body under tilted gravity."""

import math

import numpy as np
import pytest

from daq.physics import STANDARD_G_M_S2
from daq.rider.body import TURN_DEG, Body, PlacedSegments, leg, pedal_at, upper_body
from daq.rider.budget import budget, posture
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, RiderKind, rider_of_kind
from daq.rider.statics import supports

GEOMETRY = JigGeometry()
GRADIENTS = (-5.0, 0.0, 4.0, 5.0, 10.0, 20.0)


def parts(crank_deg: float, setback_mm: float) -> list[PlacedSegments]:
    hip, grip = GEOMETRY.hip_m(setback_mm), GEOMETRY.grip_m(setback_mm)
    legs = [leg(DEMO.body, hip, pedal_at(np.array(a), GEOMETRY.crank_m)) for a in (crank_deg, crank_deg + 180.0)]
    return [upper_body(DEMO.body, hip, grip), *legs]


def holding(crank_deg: float, setback_mm: float, tilt_rad: float) -> np.ndarray:
    """Force along x and y and moment about the BB that hold the rider still, by MuJoCo's inverse dynamics."""
    import mujoco

    bodies = "".join(
        f'<body pos="{c[0]} {c[1]} 0"><inertial pos="0 0 0" mass="{m}" diaginertia="0.1 0.1 0.1"/></body>'
        for part in parts(crank_deg, setback_mm)
        for m, c in zip(part.masses_kg, part.centres_m, strict=True)
    )
    gravity = f"{-STANDARD_G_M_S2 * math.sin(tilt_rad)} {-STANDARD_G_M_S2 * math.cos(tilt_rad)} 0"
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="{gravity}"/><worldbody><body>'
        '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/><joint type="hinge" axis="0 0 1"/>'
        '<inertial pos="0 0 0" mass="1e-9" diaginertia="1e-9 1e-9 1e-9"/>'
        f"{bodies}</body></worldbody></mujoco>"
    )
    data = mujoco.MjData(model)
    mujoco.mj_inverse(model, data)
    return data.qfrc_inverse.copy()


@pytest.mark.parametrize("gradient_pct", GRADIENTS)
@pytest.mark.parametrize("setback_mm", [30.0, 55.0, 80.0])
def test_forces_and_moment_hold_the_rider_still(setback_mm, gradient_pct):
    tilt_rad = math.atan(gradient_pct / 100.0)
    needed = np.mean([holding(a, setback_mm, tilt_rad) for a in TURN_DEG[::3]], axis=0)

    at = posture(DEMO, GEOMETRY, setback_mm, tilt_rad)
    s = supports(budget(DEMO, GEOMETRY), at, np.array(DEMO.torque_nm), 0.0)
    given_x = s.hands_tangential_n + s.saddle_tangential_n + s.feet_tangential_n
    given_y = s.hands_n + s.saddle_n + s.feet_n
    x_h, y_h = at.grip_m
    given_moment = (
        (x_h * s.hands_n - y_h * s.hands_tangential_n)
        + (s.saddle_x_m * s.saddle_n - at.saddle_top_m * s.saddle_tangential_n)
        + s.torque_nm
    )

    # 24 crank angles give the mean over the turn to better than 1 mm of 735 N
    assert [given_x, given_y] == pytest.approx(needed[:2], abs=1e-6)
    assert given_moment == pytest.approx(needed[2], abs=0.1)


@pytest.mark.parametrize("kind", RiderKind)
@pytest.mark.parametrize("setback_mm", [30.0, 40.0, 55.0, 80.0])
def test_a_rider_of_any_kind_presses_on_the_saddle_between_its_cells(kind, setback_mm):
    """A load point behind the rear cell would pull at the nose: nobody sits there."""
    model = rider_of_kind(kind)

    s = supports(budget(model, GEOMETRY), posture(model, GEOMETRY, setback_mm, 0.0), np.array(model.torque_nm), 0.0)
    behind_mm = -1000.0 * float(s.saddle_x_m) - setback_mm

    assert GEOMETRY.nose_cell_behind_mm < behind_mm < GEOMETRY.rear_cell_behind_mm
    assert min(s.hands_n, s.saddle_n, s.feet_n) > 0.0
    assert s.hands_n + s.saddle_n + s.feet_n == pytest.approx(75.0 * STANDARD_G_M_S2)


def test_the_model_rider_weighs_the_default_body():
    assert DEMO.body == Body()
