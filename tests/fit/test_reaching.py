import math

import pytest

from daq.fit.intake import Saddle, SeatPost
from daq.fit.reaching import reaching
from daq.fit.stepping import HIP_ABOVE_MM, HIP_BEHIND_NOSE_MM

POST = SeatPost(
    seat_tube_deg=73.0, post_offset_mm=20.0, clamp_below_saddle_mm=45.0, rails_front_mm=120, rails_rear_mm=190
)
SADDLE = Saddle(reference="nose", setback_mm=78.0, height_mm=722.0)


def test_the_places_a_post_gives_are_those_of_the_triangle():
    """By hand: the clamp is (690.45 - 45) / tan 73 + 20 / sin 73 = 218.2 mm back; the rails take 120 to 190 off."""
    found = reaching(POST, SADDLE, 58.0, 722.0)

    assert found.reachable
    assert "28 to 98 mm" in found.text


def test_a_place_the_rails_do_not_give_says_by_how_much():
    found = reaching(POST, SADDLE, 110.0, 722.0)

    assert found.reachable is False
    assert "12 mm further back" in found.text


def test_the_move_told_brings_the_saddle_there_and_keeps_the_leg():
    """Walked through by hand with the whole millimetres that are told."""
    told = reaching(POST, SADDLE, 58.0, 722.0).move
    rails_mm, post_mm = (
        -float(told.split(": ")[1].split(" mm forward")[0]),
        float(told.split("post ")[1].split(" mm out")[0]),
    )
    a, high_mm = math.radians(73.0), 722.0 * math.sin(math.radians(73.0))
    setback_mm, height_mm = 78.0 + rails_mm + post_mm * math.cos(a), high_mm + post_mm * math.sin(a)

    assert setback_mm == pytest.approx(58.0, abs=0.7)
    before = math.hypot(78.0 + HIP_BEHIND_NOSE_MM, high_mm + HIP_ABOVE_MM)
    assert math.hypot(setback_mm + HIP_BEHIND_NOSE_MM, height_mm + HIP_ABOVE_MM) == pytest.approx(before, abs=0.7)


def test_what_is_not_known_says_what_to_enter():
    assert "were not entered" in reaching(None, SADDLE, 58.0, 722.0).text
    assert "height was not measured" in reaching(POST, SADDLE, 58.0, None).text
    assert reaching(POST, Saddle(reference="nose"), 58.0, 722.0).move == ""


def test_rails_whose_marks_are_swapped_are_refused():
    with pytest.raises(ValueError, match="rearmost clamp mark"):
        SeatPost(rails_front_mm=190, rails_rear_mm=120)
