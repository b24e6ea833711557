"""Shares and weight line from what a simulated jig's cells and power sensor show, against the body that rode it."""

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.balance import Contact, weight_line
from daq.measure.geometry import tilt_deg_of
from daq.measure.mechanics import load_point_m, shares
from daq.rider.budget import posture
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from daq.rider.statics import FEET_HOLD, HANDS_PULL

MODEL = replace(DEMO, settle_n=0.0, drift_n_per_min=0.0)


def ridden(gradient_pct, setback_mm):
    jig = SimulatedJig(MODEL, rng=np.random.default_rng(7))
    jig.set_gradient(gradient_pct)
    jig.set_setback(setback_mm)
    block = jig.advance(90.0)
    first, *_, last = np.flatnonzero(block.crank_mark)
    at = posture(MODEL, jig.geometry, setback_mm, np.arctan(gradient_pct / 100.0))
    return jig.geometry, at, block, slice(first, last)


def seen(geometry, at, block, turns, setback_mm, gradient_pct, *, tangential):
    """The weight line as a jig would work it out; with its tangential cells, if it has them."""
    cells_n = block.cells_n[turns].mean(axis=0)
    cells_x_m = -np.array([geometry.nose_cell_behind_mm, geometry.rear_cell_behind_mm]) / 1000.0 - setback_mm / 1000.0
    saddle_x_m = load_point_m(cells_n[2:], cells_x_m)
    found = shares(cells_n[:2].sum(), cells_n[2:].sum(), mass_kg=75.0, tilt_deg=tilt_deg_of(gradient_pct))
    hands_t = -HANDS_PULL * cells_n[:2].sum()
    saddle_t = (1.0 - FEET_HOLD) * found.weight_normal_n * gradient_pct / 100.0 - hands_t
    line = weight_line(
        Contact(*at.grip_m, cells_n[:2].sum(), hands_t if tangential else None),
        Contact(saddle_x_m, at.saddle_top_m, cells_n[2:].sum(), saddle_t if tangential else None),
        torque_nm=block.torque_nm[turns].mean(),
        weight_normal_n=found.weight_normal_n,
        tilt_deg=tilt_deg_of(gradient_pct),
    )
    return line, found


@pytest.mark.parametrize("gradient_pct", [0.0, 4.0, 5.0, 10.0])
@pytest.mark.parametrize("setback_mm", [35.0, 55.0, 75.0])
def test_with_tangential_cells_the_weight_line_is_that_of_the_body(gradient_pct, setback_mm):
    geometry, at, block, turns = ridden(gradient_pct, setback_mm)

    line, found = seen(geometry, at, block, turns, setback_mm, gradient_pct, tangential=True)

    # the ripple moves saddle load about a load point that sways: means of products, within a millimetre
    assert 1000.0 * line.x_m == pytest.approx(1000.0 * at.weight_line_m, abs=1.0)
    assert found.feet_n == pytest.approx(block.feet_n[turns].mean(), abs=1e-6)


@pytest.mark.parametrize("gradient_pct", [0.0, 5.0])
def test_single_axis_the_estimate_is_within_its_uncertainty(gradient_pct):
    geometry, at, block, turns = ridden(gradient_pct, 55.0)

    line, _ = seen(geometry, at, block, turns, 55.0, gradient_pct, tangential=False)

    assert abs(line.estimate_m - at.weight_line_m) < 2.0 * line.u_m


def test_leaving_out_the_torque_would_be_found_out():
    geometry, at, block, turns = ridden(0.0, 55.0)
    line, _ = seen(geometry, at, block, turns, 55.0, 0.0, tangential=True)

    without_m = line.x_m - block.torque_nm[turns].mean() / at.weight_normal_n

    assert 1000.0 * abs(without_m - at.weight_line_m) > 25.0
