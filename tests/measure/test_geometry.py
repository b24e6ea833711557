import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from daq.measure import geometry
from daq.measure.geometry import Seat

GRADIENTS = Path(__file__).parent.parent / "published" / "earth" / "gradient_angle.csv"
SEAT = Seat(60.0, 690.0, hip_forward_mm=-150.0, hip_above_mm=85.0)


def test_tilt_and_gradient_are_the_table_both_ways():
    with GRADIENTS.open() as file:
        for row in csv.DictReader(file):
            gradient, angle = float(row["grade_percent"]), float(row["angle_deg_atan"])

            assert geometry.tilt_deg_of(gradient) == pytest.approx(angle, abs=1e-9)
            assert geometry.gradient_pct_of(angle) == pytest.approx(gradient, abs=1e-7)


@pytest.mark.parametrize(("gradient_pct", "shift_mm"), [(4.0, 28.0), (4.5, 31.5), (5.0, 35.0)])
def test_a_gradient_moves_the_saddle_back_against_gravity(gradient_pct, shift_mm):
    """700 mm above the BB, sine from the gradient table: 27.98, 31.47, 34.96 mm."""
    tilt = geometry.tilt_deg_of(gradient_pct)

    assert geometry.setback_against_gravity_mm(0.0, 700.0, tilt) == pytest.approx(shift_mm, abs=0.05)
    assert geometry.setback_against_gravity_mm(60.0, 700.0, 0.0) == 60.0


def test_half_a_degree_off_level_is_six_millimetres():
    said = geometry.level_warning(0.5, 700.0)

    assert "6.1 mm of setback" in said
    assert geometry.level_warning(0.1, 700.0) == ""


@given(back_mm=st.floats(-80.0, 80.0))
def test_a_step_keeps_the_leg_extension(back_mm):
    moved = SEAT.at(SEAT.setback_mm + back_mm)

    assert moved.leg_mm == pytest.approx(SEAT.leg_mm, abs=1e-9)


def test_the_height_of_a_step_is_the_root_found_by_a_solver():
    def leg_error(raise_mm):
        return math.hypot(90.0 + 150.0, 690.0 + 85.0 + raise_mm) - SEAT.leg_mm

    raise_mm = SEAT.at(90.0).height_mm - SEAT.height_mm

    assert raise_mm == pytest.approx(brentq(leg_error, -50.0, 50.0, xtol=1e-12), abs=1e-9)


def test_near_by_the_saddle_goes_down_by_about_three_tenths_of_its_way_back():
    """0.26 to 0.30 mm lower per mm back on usual seats; common practice, no source."""
    assert -0.30 < (SEAT.at(80.0).height_mm - SEAT.height_mm) / 20.0 < -0.26


def test_ten_millimetres_back_lay_the_seat_back_by_about_eight_tenths_of_a_degree():
    """About -0.84 degrees at a reference 680 mm from the BB: 10/680 rad."""
    seat = Seat(40.0, 678.0)
    before, after = (geometry.seat_angle_deg(one.setback_mm, one.height_mm) for one in (seat, seat.at(50.0)))

    assert after - before == pytest.approx(-math.degrees(10.0 / 680.0), abs=0.02)


@given(back_mm=st.floats(-30.0, 30.0), seat_tube_deg=st.floats(65.0, 80.0))
def test_rails_and_post_together_keep_the_leg_extension(back_mm, seat_tube_deg):
    move = geometry.rails_back(SEAT, back_mm, seat_tube_deg)

    assert move.seat.leg_mm == pytest.approx(SEAT.leg_mm, abs=1e-9)
    assert move.seat.height_mm - SEAT.height_mm == pytest.approx(
        move.post_mm * math.sin(math.radians(seat_tube_deg)), abs=1e-9
    )


def test_the_post_slides_as_far_as_a_solver_finds():
    a = math.radians(73.0)

    def leg_error(post_mm):
        return math.hypot(60.0 + 20.0 + post_mm * math.cos(a) + 150.0, 775.0 + post_mm * math.sin(a)) - SEAT.leg_mm

    assert geometry.rails_back(SEAT, 20.0, 73.0).post_mm == pytest.approx(brentq(leg_error, -50.0, 50.0), abs=1e-6)


def test_what_cannot_be_set_is_refused():
    with pytest.raises(ValueError, match=r"setback_mm: the hip stays \d+ mm from the BB"):
        SEAT.at(900.0)
    with pytest.raises(ValueError, match=r"seat_tube_deg: expected 45 to 90, got 20"):
        geometry.rails_back(SEAT, 10.0, 20.0)
    with pytest.raises(ValueError, match=r"further than this leg reaches"):
        geometry.rails_back(SEAT, 3000.0, 73.0)
