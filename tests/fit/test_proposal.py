"""What is proposed to ride first, and second."""

import math
from dataclasses import replace

import pytest

from daq.fit.intake import Feel, SeatPost, Symptom
from daq.fit.proposal import climb_check, range_from
from daq.sweep.order import spaced
from daq.sweep.setting import JigRange
from tests.fit.sweeps import INTAKE, ridden

WIDE = JigRange(setback_mm=(-20.0, 200.0))
HANDS = INTAKE.model_copy(update={"symptoms": (Symptom(place="hands", side="left", score=6),)})
HAMSTRINGS = INTAKE.model_copy(update={"feel": Feel(hamstrings_calves=7)})
POST = SeatPost(seat_tube_deg=73.5, clamp_below_saddle_mm=45.0, rails_front_mm=120.0, rails_rear_mm=160.0)


def at(setback_mm, intake=INTAKE, **saddle):
    return intake.model_copy(update={"saddle": intake.saddle.model_copy(update={"setback_mm": setback_mm, **saddle})})


@pytest.mark.parametrize("intake", [INTAKE, HANDS, HAMSTRINGS])
@pytest.mark.parametrize("setback_mm", [78.0, 61.5])
def test_the_present_place_is_one_of_the_positions_and_eleven_are_ridden(intake, setback_mm):
    found = range_from(at(setback_mm, intake), WIDE)

    positions = spaced(found.rear_mm, found.front_mm, found.apart_mm)
    assert setback_mm in positions
    assert len(positions) == 11


def test_the_complaint_says_which_side_is_ridden_more():
    heavy, stretched = range_from(HANDS, WIDE), range_from(HAMSTRINGS, WIDE)

    assert (heavy.rear_mm, heavy.front_mm) == (103.0, 53.0)
    assert (stretched.rear_mm, stretched.front_mm) == (88.0, 38.0)
    assert "hands, left" in heavy.why
    assert "hamstrings" in stretched.why


def test_it_stays_within_the_jig_and_within_the_rails_while_those_leave_enough():
    assert range_from(at(78.0), JigRange(setback_mm=(60.0, 90.0))).rear_mm == 88.0
    assert range_from(at(78.0), JigRange(setback_mm=(60.0, 90.0))).front_mm == 63.0
    assert range_from(at(78.0), JigRange(setback_mm=(76.0, 80.0))) is None
    assert range_from(at(178.0), JigRange(setback_mm=(0.0, 100.0))) is None
    assert range_from(at(None), WIDE) is None

    on_rails = range_from(at(60.0, INTAKE.model_copy(update={"post": POST}), height_mm=720.0), WIDE)
    assert 60.0 in spaced(on_rails.rear_mm, on_rails.front_mm, on_rails.apart_mm)
    assert on_rails.rear_mm - on_rails.front_mm <= 40.0  # of rails 120 to 160 mm behind the reference point
    assert "rails" in on_rails.why
    tight = POST.model_copy(update={"rails_rear_mm": 130.0})
    assert "rails" not in range_from(at(60.0, INTAKE.model_copy(update={"post": tight}), height_mm=720.0), WIDE).why


def test_the_second_ride_is_was_new_and_front_end_on_a_climb():
    level = ridden()
    new_mm = float(math.ceil(level.onset.suggested_setback_mm))

    assert climb_check((level,), 78.0).positions_mm == (78.0, new_mm, 30.0)
    assert climb_check((level,), new_mm).positions_mm == (new_mm, 30.0)
    assert climb_check((level,), 78.0, 66.0).positions_mm == (78.0, 66.0, 30.0), "what was decided is what is checked"
    assert climb_check((), 78.0) is None
    assert climb_check((level,), None) is None
    assert climb_check((level, replace(ridden(gradient_pct=4.5, answer=False), sweep_id=2)), 78.0) is None
