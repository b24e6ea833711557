import math

import pytest

from daq.fit.intake import Saddle
from daq.fit.stepping import HIP_ABOVE_MM, HIP_BEHIND_NOSE_MM, stepping
from daq.sweep.plan import Plan
from daq.values import SEAT_TUBE_DEG

POSITIONS = (80.0, 70.0, 60.0, 50.0, 40.0)


def plan(**fields):
    return Plan(POSITIONS, start_setback_mm=60.0, start_height_mm=720.0, **fields)


@pytest.mark.parametrize("setback_mm", POSITIONS)
def test_the_leg_keeps_its_length(setback_mm):
    """By Pythagoras on the triangle of BB, hip and the height corrected."""
    height_mm = 720.0 * math.sin(math.radians(SEAT_TUBE_DEG)) + HIP_ABOVE_MM
    before = math.hypot(60.0 + HIP_BEHIND_NOSE_MM, height_mm)

    after = math.hypot(setback_mm + HIP_BEHIND_NOSE_MM, height_mm + stepping(plan(), setback_mm).height_change_mm)

    assert after == pytest.approx(before, abs=1e-9)


def test_ten_mm_back_lowers_the_saddle_by_about_three():
    # Linear rule of -0.26 to -0.3 mm per mm within 20 mm; here the hip lies further back than in its example.
    assert -3.4 < stepping(plan(), 70.0).height_change_mm < -2.6


def test_a_kept_height_and_an_unknown_start_ask_for_no_change():
    assert stepping(plan(height_policy="height kept"), 70.0).height_change_mm is None
    assert stepping(Plan(POSITIONS), 70.0).height_change_mm is None
    assert stepping(plan(), None).height_change_mm is None


def test_a_bar_that_stays_is_further_away_by_as_much_as_the_saddle_goes_back():
    assert stepping(plan(protocol="bar fixed"), 70.0).reach_change_mm == 10.0
    assert stepping(plan(), 70.0).reach_change_mm == 0.0


def test_ten_mm_back_opens_the_seat_angle_by_less_than_a_degree():
    """-0.84 deg per 10 mm back with the height kept at about 690 mm: the small angle 10/690, and a little less."""
    kept = plan(height_policy="height kept")
    change = stepping(kept, 70.0).seat_angle_deg - stepping(kept, 60.0).seat_angle_deg

    assert change == pytest.approx(-0.84, abs=0.03)


def test_on_a_climb_the_saddle_is_further_back_against_gravity():
    """4.5 %: by hand, s cos t + h sin t with t = 2.5766 deg."""
    height_mm = 720.0 * math.sin(math.radians(SEAT_TUBE_DEG))
    found = stepping(plan(gradient_pct=4.5, height_policy="height kept"), 60.0).against_gravity_mm

    assert found == pytest.approx(60.0 * 0.998989 + height_mm * 0.0449544, abs=0.01)


def test_measured_to_80_mm_width_the_hip_is_nearer_and_the_correction_the_same():
    """The same saddle at the same place, told by its other point: 60 mm at the nose is 135 mm at 80 mm width."""
    by_nose = stepping(plan(), 70.0, Saddle(reference="nose"))
    wide = Plan(tuple(mm + 75.0 for mm in POSITIONS), start_setback_mm=135.0, start_height_mm=720.0)
    by_width = stepping(wide, 145.0, Saddle(reference="80 mm width", nose_to_width_mm=75.0))

    assert by_width.height_change_mm == pytest.approx(by_nose.height_change_mm)
