import math
from dataclasses import replace

import pytest

from daq.fit.setting import as_set, planned, start_of, surprises
from daq.fit.stepping import HIP_ABOVE_MM, HIP_BEHIND_NOSE_MM
from daq.rig import Geometry
from daq.sweep.plan import Plan
from daq.values import NAN, SEAT_TUBE_DEG, Setting, StepMean

POSITIONS = (80.0, 70.0, 60.0, 50.0, 40.0)
BAR = Geometry(bar_x_m=0.57, bar_y_m=0.66, saddle_y_m=0.70)
SINE = math.sin(math.radians(SEAT_TUBE_DEG))


def plan(**fields):
    return Plan(POSITIONS, **{"start_setback_mm": 60.0, "start_height_mm": 720.0, **fields})


def first_step(setback_mm, setting):
    return StepMean(setback_mm, 80.0, NAN, 1.0, 21.0, 430.0, 0.0, setting=setting)


def at(setback_mm, first=None, **fields):
    kept = plan(**fields)
    return planned(kept, start_of(kept, BAR, first), setback_mm)


def test_with_the_reach_kept_the_bar_goes_along_and_the_leg_keeps_its_length():
    """By Pythagoras on the triangle of BB, hip and saddle, heights along the seat tube taken as sin 73.5 of them."""
    found = at(40.0)

    height_mm = found.setting.saddle_height_mm * SINE + HIP_ABOVE_MM
    started_mm = 720.0 * SINE + HIP_ABOVE_MM
    assert found.setting.bar_x_mm == pytest.approx(590.0)
    assert found.reach_change_mm == pytest.approx(0.0)
    assert math.hypot(40.0 + HIP_BEHIND_NOSE_MM, height_mm) == pytest.approx(
        math.hypot(60.0 + HIP_BEHIND_NOSE_MM, started_mm)
    )
    assert found.setting.bar_y_mm == pytest.approx(660.0 + height_mm - started_mm)
    assert found.drop_change_mm == pytest.approx(0.0)


def test_a_bar_that_keeps_its_height_lets_the_drop_grow_with_the_saddle():
    """Going back 40 mm, then forward: by the same triangle, 11 to 13 mm of saddle height in all."""
    kept = plan(bar_height_policy="bar height kept")
    start = start_of(kept, BAR)
    rear, front = planned(kept, start, 80.0), planned(kept, start, 40.0)
    leg_mm = math.hypot(60.0 + HIP_BEHIND_NOSE_MM, 720.0 * SINE + HIP_ABOVE_MM)
    heights_mm = [math.sqrt(leg_mm**2 - (at_mm + HIP_BEHIND_NOSE_MM) ** 2) for at_mm in (80.0, 40.0)]

    assert rear.setting.bar_y_mm == front.setting.bar_y_mm == 660.0
    assert front.drop_change_mm - rear.drop_change_mm == pytest.approx(heights_mm[1] - heights_mm[0])
    assert 11.0 < heights_mm[1] - heights_mm[0] < 13.0


def test_a_bar_raised_first_keeps_its_drop_from_there():
    first = first_step(80.0, Setting(715.0, 562.0, 655.0, -1.5))
    found, back = at(60.0, first), at(80.0, first)

    assert back.setting.bar_y_mm == pytest.approx(655.0)
    assert found.drop_change_mm == pytest.approx(0.0)


def test_a_fixed_bar_and_an_unknown_height_leave_the_bar_where_it_is():
    assert at(40.0, protocol="bar fixed").setting.bar_y_mm == 660.0
    assert at(40.0, start_height_mm=None).setting.bar_y_mm == 660.0


def test_a_bar_that_stays_comes_nearer_as_the_saddle_comes_forward():
    found = at(40.0, protocol="bar fixed", height_policy="height kept")

    assert found.setting == Setting(720.0, 570.0, 660.0, found.setting.saddle_tilt_deg)
    assert found.reach_change_mm == pytest.approx(-20.0)
    assert found.drop_change_mm == pytest.approx(0.0)


def test_what_was_set_first_counts_before_plan_and_rig_file():
    first = first_step(80.0, Setting(715.0, 562.0, 655.0, -1.5))

    found = at(60.0, first)

    assert found.setting.bar_x_mm == pytest.approx(582.0)
    assert found.setting.bar_y_mm - 655.0 == pytest.approx(SINE * (found.setting.saddle_height_mm - 715.0))
    assert found.setting.saddle_tilt_deg == -1.5
    assert found.reach_change_mm == pytest.approx(0.0)


def test_what_was_not_said_at_the_first_step_is_taken_from_the_start():
    found = at(60.0, first_step(80.0, Setting(bar_x_mm=562.0)))

    assert found.setting.bar_y_mm == 660.0
    assert found.setting.saddle_height_mm == pytest.approx(720.0)


def test_an_unknown_height_stays_unknown_and_the_reach_is_known_all_the_same():
    found = at(40.0, start_height_mm=None)

    assert math.isnan(found.setting.saddle_height_mm)
    assert math.isnan(found.drop_change_mm)
    assert found.reach_change_mm == pytest.approx(0.0)


def test_a_corrected_bar_shows_in_reach_and_drop():
    kept = plan()

    found = as_set(start_of(kept, BAR), 60.0, Setting(720.0, 558.0, 650.0))

    assert found.reach_change_mm == pytest.approx(-12.0)
    assert found.drop_change_mm == pytest.approx(10.0)


def test_a_bar_or_a_tilt_that_is_not_as_planned_is_said_and_a_slip_of_the_hand_is_not():
    first = first_step(80.0, Setting(715.0, 562.0, 655.0, -1.5))
    wanted = at(60.0, first)
    set_right = wanted.setting

    assert surprises(60.0, wanted, set_right) == []
    assert surprises(60.0, wanted, replace(set_right, bar_x_mm=584.0)) == []
    assert surprises(60.0, wanted, Setting()) == []
    (bar,) = surprises(60.0, wanted, replace(set_right, bar_x_mm=528.0))
    assert bar == "bar forward 528 mm is taken as set, 582 mm was planned; undo if mistyped"
    (tilt,) = surprises(60.0, wanted, replace(set_right, saddle_tilt_deg=-3.0))
    assert "-1.5°" in tilt


@pytest.mark.parametrize(
    ("setback_mm", "said"),
    [(83.0, []), (77.0, []), (70.0, ["80 mm was asked, 70 mm is taken as set; undo if mistyped"])],
)
def test_a_setback_far_from_the_asked_one_is_said_and_a_slip_of_the_hand_is_not(setback_mm, said):
    assert surprises(80.0, at(setback_mm), Setting()) == said


def test_a_bar_that_belongs_to_the_setback_that_was_set_is_none():
    """Reach kept: 10 mm more setback needs the bar 10 mm further back."""
    wanted = at(50.0, height_policy="height kept")

    (said,) = surprises(40.0, wanted, wanted.setting)

    assert said == "40 mm was asked, 50 mm is taken as set; undo if mistyped"


def test_of_a_setback_and_a_bar_that_are_both_off_the_setback_is_named_first_in_one_sentence():
    """The bar as the card asked for 30 mm, the saddle at 40 mm: reach kept from 60 mm and 570 mm, so 600 and 590."""
    wanted = at(40.0, height_policy="height kept")

    (said,) = surprises(30.0, wanted, replace(wanted.setting, bar_x_mm=600.0))

    assert said == (
        "30 mm was asked, 40 mm is taken as set; bar forward 600 mm is taken as set, 590 mm goes with 40 mm; "
        "undo if mistyped"
    )
