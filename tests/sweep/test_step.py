import numpy as np
import pytest

from daq.sweep.step import BURST, OFF_EFFORT, bursts, is_steady, step_mean
from daq.values import NAN, LeftOut, Status, Stroke

CLEAN = Status(0)


def stroke(i, hands_n, torque_nm=21.0):
    return Stroke(i * 0.667, (i + 1) * 0.667, hands_n, 430.0, 225.0, 0.0, torque_nm, 200.0, (hands_n,), 67, CLEAN)


def strokes(hands_n, **how):
    return [stroke(i, x, **how) for i, x in enumerate(hands_n)]


def test_too_few_strokes_are_not_steady():
    assert not is_steady(strokes([80.0] * 11))


def test_a_settling_of_10_n_is_not_steady_and_its_end_is():
    settling = 80.0 + 10.0 * np.exp(-np.arange(30) / 6.0)

    assert not is_steady(strokes(settling[:12]))
    assert is_steady(strokes(settling))


def test_a_cough_is_a_burst_with_its_neighbours():
    # modified z-scores above 3.5: Iglewicz & Hoaglin 1993
    quiet = [80.0, 81.0, 79.0, 80.5, 79.5, 80.0, 81.0, 79.0]

    found = bursts([*quiet, 130.0, *quiet])

    assert np.flatnonzero(found).tolist() == [7, 8, 9]


def test_an_even_load_has_no_bursts():
    assert not bursts([80.0] * 10).any()


def test_bursts_that_neighbour_every_stroke_leave_the_others_to_average():
    step = step_mean(60.0, strokes([80.0, 180.0, 80.1, 180.0, 80.05]))

    assert step.hand_load_n == pytest.approx(80.05)
    assert step.excluded == 2


def test_bursts_are_left_out_of_the_mean_and_each_left_out_stroke_says_why():
    quiet = [80.0, 81.0, 79.0, 80.5, 79.5, 80.0, 81.0, 79.0]
    ridden = strokes([*quiet, 130.0, *quiet])
    before = LeftOut(stroke(-1, 90.0), OFF_EFFORT)

    step = step_mean(60.0, ridden, left_out=[before])

    assert step.hand_load_n == pytest.approx(np.mean(quiet), abs=0.2)
    assert step.excluded == 4
    assert step.left_out == (before, *(LeftOut(one, BURST) for one in ridden[7:10]))
    assert np.isnan(step.se_n)


def test_a_step_without_strokes_is_an_error_not_a_number():
    with pytest.raises(ValueError, match="no stroke to average at 60 mm"):
        step_mean(60.0, [])


def test_torque_is_unknown_only_when_it_is_for_most_strokes():
    some = [stroke(i, 80.0, NAN if i < 4 else 21.0) for i in range(10)]
    most = [stroke(i, 80.0, NAN if i < 6 else 21.0) for i in range(10)]

    assert step_mean(60.0, some).crank_torque_nm == 21.0
    assert np.isnan(step_mean(60.0, most).crank_torque_nm)


def test_a_steps_time_is_the_middle_of_its_strokes_in_minutes():
    ridden = [stroke(900 + i, 80.0) for i in range(30)]  # from 600.3 s, 20.01 s long

    assert step_mean(60.0, ridden).t_min == pytest.approx((600.3 + 10.005) / 60.0)
