"""The weight line against MuJoCo."""

import math

import numpy as np
import pytest

from daq.measure.balance import Contact, com_height, weight_line
from daq.measure.mechanics import shares
from tests.measure.engine import MASS_KG, settled


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
