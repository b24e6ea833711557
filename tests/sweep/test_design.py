"""Which position comes next, and when to stop."""

from itertools import pairwise

import pytest

from daq.sweep.design import next_step
from tests.sweep.rides import hinge, ride, step

LIMITS = {"rear_mm": 80.0, "front_mm": 30.0}


def ridden(load_of, upto, **options):
    """Ride what is asked until there are so many steps or it stops."""
    steps = []
    while len(steps) < upto:
        asked = next_step(steps, **LIMITS, **options)
        if asked.stop:
            break
        steps.append(step(asked.setback_mm, load_of(asked.setback_mm), 0.7 * len(steps), se_n=1.0))
    return steps, next_step(steps, **LIMITS, **options)


def test_the_coarse_pass_covers_all_ground_out_and_back():
    steps, _ = ridden(hinge(52.0), 5)

    setbacks = [each.setback_mm for each in steps]
    assert sorted(setbacks) == [30.0, 42.0, 55.0, 68.0, 80.0]
    assert setbacks[0] > setbacks[1] > setbacks[2]
    assert setbacks[3] < setbacks[4]


def test_after_it_the_onset_is_bracketed_from_both_sides_in_turn():
    steps, _ = ridden(hinge(52.0), 9, target_width_mm=0.5)

    later = [each.setback_mm for each in steps[5:]]
    assert all(40.0 < mm < 65.0 for mm in later)
    assert all((a > 52.0) != (b > 52.0) for a, b in pairwise(later))


def test_it_says_why_and_what_to_expect():
    _, asked = ridden(hinge(52.0), 6, target_width_mm=0.5)

    assert "where the onset may be" in asked.why
    assert asked.expected_width_mm < asked.width_mm


def test_narrow_enough_is_a_reason_to_stop():
    steps, asked = ridden(hinge(52.0), 30, target_width_mm=8.0)

    assert "narrow enough" in asked.stop
    assert asked.setback_mm is None
    assert len(steps) < 30


def test_time_that_is_up_is_a_reason_to_stop():
    asked = next_step([], **LIMITS, minutes_left=0.4, minutes_per_step=0.75)

    assert "time is up" in asked.stop


def test_a_step_that_brings_nothing_is_not_asked():
    _, asked = ridden(hinge(52.0), 60, target_width_mm=0.05)

    assert "no gain" in asked.stop


def test_a_few_steps_that_happen_to_bring_nothing_do_not_end_the_sweep():
    """Marks 10 mm apart leave no place near the bend that is not ridden: the eighth step would bring 0.6 %."""
    steps, asked = ridden(hinge(52.0), 60, resolution_mm=10.0, target_width_mm=0.05)

    assert "no gain" in asked.stop
    assert len(steps) >= 11


def test_steps_are_what_the_jig_can_set():
    steps, _ = ridden(hinge(52.0), 9, resolution_mm=2.5, target_width_mm=0.5)

    assert all(each.setback_mm % 2.5 == 0.0 for each in steps)


def test_no_step_is_asked_beyond_the_limits():
    steps, _ = ridden(hinge(78.0), 12, target_width_mm=0.5)

    assert all(30.0 <= each.setback_mm <= 80.0 for each in steps)


def test_level_hands_end_the_sweep_as_settled():
    _, asked = ridden(lambda setback_mm: 80.0, 60)

    assert asked.stop == "settled: the hands stay light over the whole range"


def test_level_hands_are_not_settled_by_five_places():
    steps, _ = ridden(lambda setback_mm: 80.0, 60)

    assert len(steps) >= 8


def test_without_an_onset_in_sight_the_widest_gap_is_halved():
    steps = ride(lambda setback_mm: 80.0, noise_n=3.0, n=5, seed=2)

    asked = next_step(steps, **LIMITS)

    assert "no onset in sight yet: in the middle of the widest gap" in asked.why
    assert min(abs(asked.setback_mm - each.setback_mm) for each in steps) > 5.0


def test_before_it_stops_the_first_place_is_ridden_again():
    for options in ({"target_width_mm": 8.0}, {"target_width_mm": 0.05}):
        steps, asked = ridden(hinge(52.0), 60, **options)

        assert asked.stop
        assert [each.setback_mm for each in steps].count(80.0) >= 2


def test_the_last_minutes_go_to_the_first_place_again():
    steps, _ = ridden(hinge(52.0), 6, target_width_mm=0.05)

    last = next_step(steps, **LIMITS, target_width_mm=0.05, minutes_left=1.0, minutes_per_step=0.75)

    assert last.setback_mm == steps[0].setback_mm
    assert "the first place again" in last.why


def test_limits_without_room_are_refused():
    with pytest.raises(ValueError, match="needs 25 mm or more from end to end"):
        next_step([], rear_mm=50.0, front_mm=40.0, resolution_mm=5.0)
