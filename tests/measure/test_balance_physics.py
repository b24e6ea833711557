"""The weight line against MuJoCo: a rider on elastic supports, whose forces are read off like a jig's cells."""

import math

import mujoco
import numpy as np
import pytest

from daq.measure.balance import Contact, com_height, weight_line
from daq.measure.mechanics import shares

SEGMENTS = {  # mass kg, x m, y m: a seated rider, any distribution would do
    "trunk": (37.8, 0.00, 1.00), "head": (5.2, 0.28, 1.36), "arms": (7.4, 0.30, 0.95),
    "thighs": (21.2, -0.05, 0.72), "shanks": (6.5, 0.02, 0.38), "feet": (2.0, 0.02, 0.06),
}  # fmt: skip
MASS_KG = sum(mass for mass, _, _ in SEGMENTS.values())
PADS = {"hands": (0.55, 0.68), "saddle": (-0.20, 0.70), "pedal": (0.14, -0.09)}


def settled(gradient_pct: float) -> tuple[dict[str, Contact], float, float]:
    """Force of each pad on the rider after coming to rest, and the centre of mass (x, y) MuJoCo has then.

    Three soft ties to the world hold a rigid rider; how they share the load is the engine's affair.
    """
    tilt = math.atan(gradient_pct / 100.0)
    bodies = "".join(
        f'<body pos="{x} {y} 0"><inertial pos="0 0 0" mass="{m}" diaginertia=".2 .2 .2"/></body>'
        for m, x, y in SEGMENTS.values()
    )
    ties = "".join(f'<connect body1="rider" anchor="{x} {y} 0" solref="0.02 1"/>' for x, y in PADS.values())
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="0.001" tolerance="1e-14" iterations="100"'
        f' gravity="{-9.80665 * math.sin(tilt)} {-9.80665 * math.cos(tilt)} 0"/>'
        f'<worldbody><body name="rider"><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/>'
        f'<joint type="hinge" axis="0 0 1"/><inertial pos="0 0 0" mass="1e-6" diaginertia="1e-6 1e-6 1e-6"/>{bodies}'
        f"</body></worldbody><equality>{ties}</equality></mujoco>"
    )
    data = mujoco.MjData(model)
    mujoco.mj_step(model, data, nstep=1500)
    mujoco.mj_forward(model, data)
    turned, moved = data.body("rider").xmat.reshape(3, 3), data.body("rider").xpos
    contacts = {}
    for k, (name, (x, y)) in enumerate(PADS.items()):
        at = moved + turned @ [x, y, 0.0]
        tangential_n, normal_n, _ = data.efc_force[3 * k : 3 * k + 3]
        contacts[name] = Contact(float(at[0]), float(at[1]), float(normal_n), float(tangential_n))
    com = data.body("rider").subtree_com
    return contacts, float(com[0]), float(com[1])


def measured(gradient_pct: float):
    tilt_deg = math.degrees(math.atan(gradient_pct / 100.0))
    contacts, x_c, y_c = settled(gradient_pct)
    hands, saddle, pedal = (contacts[name] for name in ("hands", "saddle", "pedal"))
    found = shares(hands.normal_n, saddle.normal_n, mass_kg=MASS_KG, tilt_deg=tilt_deg)
    torque_nm = pedal.x_m * pedal.normal_n - pedal.y_m * pedal.tangential_n
    line = weight_line(hands, saddle, torque_nm=torque_nm, weight_normal_n=found.weight_normal_n, tilt_deg=tilt_deg)
    return line, found, pedal, x_c - y_c * math.tan(math.radians(tilt_deg)), y_c


@pytest.mark.parametrize("gradient_pct", [-5.0, 0.0, 4.0, 5.0, 10.0, 20.0])
def test_the_weight_line_and_the_feet_are_those_of_the_engine(gradient_pct):
    line, found, pedal, x_engine_m, _ = measured(gradient_pct)

    # the engine is at rest to a few micronewtons after 1.5 s
    assert line.x_m == pytest.approx(x_engine_m, abs=1e-6)
    assert found.feet_n == pytest.approx(pedal.normal_n, abs=1e-3)


def test_the_height_of_the_centre_is_that_of_the_engine():
    gradients = [-5.0, 0.0, 5.0, 20.0]
    readings = [measured(g) for g in gradients]

    found = com_height([line for line, *_ in readings], gradients)

    assert found.y_m == pytest.approx(np.mean([y_c for *_, y_c in readings]), abs=1e-3)


def test_single_axis_readings_are_off_by_what_the_unseen_forces_do():
    """((y_h - y_s) T_h - y_s T_f)/W' + y_s tan t, with the engine's own tangential forces."""
    contacts, x_c, y_c = settled(5.0)
    weight_n = MASS_KG * 9.80665 * math.cos(math.atan(0.05))
    hands, saddle, pedal = (contacts[name] for name in ("hands", "saddle", "pedal"))
    line = weight_line(
        Contact(hands.x_m, hands.y_m, hands.normal_n),
        Contact(saddle.x_m, saddle.y_m, saddle.normal_n),
        torque_nm=pedal.x_m * pedal.normal_n - pedal.y_m * pedal.tangential_n,
        weight_normal_n=weight_n,
        tilt_deg=math.degrees(math.atan(0.05)),
    )

    unseen_m = ((hands.y_m - saddle.y_m) * hands.tangential_n - saddle.y_m * pedal.tangential_n) / weight_n

    assert line.x_m - (x_c - y_c * 0.05) == pytest.approx(unseen_m + line.bias_m, abs=1e-5)
