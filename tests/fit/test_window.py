import pytest

from daq.fit.window import rearward_cautions, window_mm
from daq.values import Verdict
from tests.fit.sweeps import ridden

SHORT = (58.0, 50.0, 40.0, 30.0, 20.0, 25.0, 35.0, 45.0, 54.0)


def cautions(chosen_mm, sweep=None, present_mm=60.0):
    return " ".join(rearward_cautions(sweep or ridden(), chosen_mm=chosen_mm, present_mm=present_mm))


def test_the_window_lies_ten_mm_back_from_the_onset():
    sweep = ridden()

    front, rear = window_mm(sweep)

    assert abs(front - 55.0) < 1.5
    assert rear - front == pytest.approx(10.0)


def test_without_an_onset_there_is_no_window():
    flat = ridden(lambda mm: 80.0)

    assert flat.onset.verdict is not Verdict.ONSET
    assert window_mm(flat) is None
    assert window_mm(None) is None


def test_a_choice_inside_the_window_brings_no_caution():
    assert cautions(60.0) == ""


def test_a_choice_behind_the_window_is_warned_of_chasing_lightness():
    assert "behind the window: light hands are no reason for that" in cautions(75.0)
    by_another_day = cautions(75.0, ridden(chance_of="another day"))
    assert "behind the window: the window is today's, and on another day the onset may lie further" in by_another_day
    assert "light hands are no reason" not in by_another_day


def test_a_choice_forward_of_the_onset_says_what_the_hands_will_carry():
    assert "forward of the onset" in cautions(45.0)


@pytest.mark.parametrize("beyond_mm", [-0.4, 0.4])
def test_a_choice_at_an_end_of_the_window_to_the_millimetre_lies_in_it(beyond_mm):
    """Nobody is told of 0 mm behind or forward of anything."""
    front_mm, rear_mm = window_mm(ridden())

    for end_mm in (front_mm, rear_mm):
        assert cautions(end_mm + beyond_mm) == ""


def test_going_back_without_an_onset_is_warned_of():
    flat = ridden(lambda mm: 80.0)

    assert "no reason to go back" in cautions(70.0, flat)
    assert cautions(50.0, flat) == ""


def test_a_window_that_reaches_behind_what_was_ridden_is_said():
    short = ridden(
        lambda mm: 80.0 + 3.0 * max(49.0 - mm, 0.0), positions=(58.0, 50.0, 40.0, 30.0, 20.0, 25.0, 35.0, 45.0, 54.0)
    )

    assert "rear end of the sweep" in cautions(55.0, short)


def test_a_saddle_scored_worse_at_the_rear_is_said():
    positions = ridden().plan.positions_mm
    notes = {i: {"saddle": 6.0 if mm > 60 else 2.0} for i, mm in enumerate(positions)}

    assert "worse at the rear" in cautions(58.0, ridden(notes=notes))
    assert "worse at the rear" not in cautions(58.0, ridden(notes={i: {"saddle": 3.0} for i in range(11)}))


def test_a_choice_outside_what_was_ridden_is_to_be_ridden_first():
    rear, front = max(ridden().plan.positions_mm), min(ridden().plan.positions_mm)

    assert "was not ridden" in cautions(rear + 5.0)
    assert "was not ridden" in cautions(front - 5.0)
    assert "was not ridden" not in cautions(rear)


def test_hands_that_carry_weight_all_through_may_get_lighter_further_back_at_the_saddles_cost():
    loaded = ridden(lambda mm: 200.0 + 1.5 * (80.0 - mm))
    assert loaded.onset.verdict is Verdict.LOADED

    said = cautions(80.0, loaded)

    assert "may lighten the hands" in said
    assert "saddle comfort" in said
    assert "no reason to go back" not in said
