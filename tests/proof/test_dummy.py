"""The dummy's statics against a general physics engine: rope with slack over pulleys, plank on saddle and bar."""

import math

import numpy as np
import pytest

from daq.proof.dummy import Plank, Springs, onset_of_slack

ROPE = """
<mujoco><option gravity="0 0 0"/><worldbody>
  <body pos="0 0 0"><joint name="saddle" type="slide" axis="1 0 0"/><geom size=".01" mass="1"/><site name="tie"/></body>
  <site name="rear" pos="-0.9 0 0"/><site name="low" pos="-0.9 -0.8 0"/><site name="front" pos="{front} -0.8 0"/>
  <body pos="0.54 0 0"><joint name="bar" type="slide" axis="0 1 0"/><geom size=".01" mass="1"/><site name="bar"/></body>
</worldbody><tendon>{tendons}</tendon></mujoco>
"""
TENDON = """<spatial stiffness="{n_per_m}" springlength="0 {slack_m}">
  <site site="tie"/><site site="rear"/><site site="low"/><site site="front"/><site site="bar"/></spatial>"""


def bar_load_n(setback_mm, onset_mm, springs, *, front_m=0.54):
    """By MuJoCo: tendons that pull only when longer than their slack length, and the force they put on the bar."""
    import mujoco

    last_m = math.hypot(0.54 - front_m, 0.8)
    tendons = "".join(
        TENDON.format(
            n_per_m=1000.0 * rate,
            slack_m=(0.9 - (onset_mm - later) / 1000.0) + 0.8 + (front_m + 0.9) + last_m,
        )
        for rate, later in zip(springs.rates_n_per_mm, springs.later_mm, strict=True)
    )
    model = mujoco.MjModel.from_xml_string(ROPE.format(front=front_m, tendons=tendons))
    state = mujoco.MjData(model)
    state.qpos[0] = -setback_mm / 1000.0
    mujoco.mj_forward(model, state)
    return -float(state.qfrc_passive[1])


@pytest.mark.parametrize(
    ("springs", "front_m"),
    [
        (Springs((2.0,)), 0.54),
        (Springs((1.0, 0.5, 0.5), (0.0, 10.0, 20.0)), 0.54),
        (Springs((2.0,), angle_deg=math.degrees(math.atan(0.05 / 0.8))), 0.49),
    ],
    ids=["one spring", "three springs", "rope aslant"],
)
def test_hand_load_of_the_rope_is_that_of_a_physics_engine(springs, front_m):
    for setback_mm in (110.0, 61.0, 60.0, 59.0, 47.0, 35.0, 10.0):
        expected = bar_load_n(setback_mm, 60.0, springs, front_m=front_m)

        assert springs.hands_n(setback_mm, 60.0) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("tilt_deg", [0.0, 2.58, -2.0])
def test_the_planks_loads_are_those_of_a_physics_engine(tilt_deg):
    import mujoco

    plank, setback_mm = Plank(12.0, 0.18, 0.09, 0.54, pin_behind_mm=40.0), 70.0
    t = math.radians(tilt_deg)
    gravity = f"{-9.81 * math.sin(t)} {-9.81 * math.cos(t)} 0"
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="{gravity}"/><worldbody><body><joint type="slide" axis="0 1 0"/>'
        '<joint type="hinge" axis="0 0 1"/><geom size=".01" mass="12" pos="0.18 0.09 0"/></body></worldbody></mujoco>'
    )
    state = mujoco.MjData(model)
    mujoco.mj_forward(model, state)
    whole_n, moment_nm = state.qfrc_bias[:2]
    hands_n = moment_nm / (0.54 + 0.110)

    found = plank.loads_n(setback_mm, tilt_deg, 9.81)

    assert found[0] == pytest.approx(hands_n, rel=1e-9)
    assert found[1] == pytest.approx(whole_n - hands_n, rel=1e-9)


def test_the_onset_is_where_the_gap_is_used_up_coming_forward():
    assert onset_of_slack([70.0], [9.5]).tolist() == [60.5]
    assert np.ptp(Springs((2.0,)).hands_n([60.5, 80.0], 60.5)) == 0.0
