import math

import pytest

from daq.fit.stepping import HIP_ABOVE_MM, HIP_BEHIND_NOSE_MM, SEAT_TUBE_DEG, height_change_mm
from daq.sweep.plan import Plan

POSITIONS = (80.0, 70.0, 60.0, 50.0, 40.0)


def plan(**fields):
    return Plan(POSITIONS, start_setback_mm=60.0, start_height_mm=720.0, **fields)


@pytest.mark.parametrize("setback_mm", POSITIONS)
def test_the_leg_keeps_its_length(setback_mm):
    """By Pythagoras on the triangle of BB, hip and the height corrected."""
    height_mm = 720.0 * math.sin(math.radians(SEAT_TUBE_DEG)) + HIP_ABOVE_MM
    before = math.hypot(60.0 + HIP_BEHIND_NOSE_MM, height_mm)

    after = math.hypot(setback_mm + HIP_BEHIND_NOSE_MM, height_mm + height_change_mm(plan(), setback_mm))

    assert after == pytest.approx(before, abs=1e-9)


def test_ten_mm_back_lowers_the_saddle_by_about_three():
    # Linear rule of -0.26 to -0.3 mm per mm within 20 mm; here the hip lies further back than in its example.
    assert -3.4 < height_change_mm(plan(), 70.0) < -2.6


def test_a_kept_height_and_an_unknown_start_ask_for_no_change():
    assert height_change_mm(plan(height_policy="height kept"), 70.0) is None
    assert height_change_mm(Plan(POSITIONS), 70.0) is None
    assert height_change_mm(plan(), None) is None
