"""What the tests of validity look at: the place of the bend they judge about, and torque that the sensor missed."""

from dataclasses import replace

import numpy as np
import pytest

from daq.sweep.evidence import gathered
from daq.sweep.onset import onset
from daq.sweep.validity.repeats import first_again
from daq.sweep.validity.seen import seen
from daq.sweep.validity.table import TESTS
from daq.values import Result
from tests.sweep.rides import hinge, ride, silent
from tests.sweep.validity import sweeps
from tests.sweep.validity.sweeps import ON_THE_JIG, OUT_AND_BACK, answer

STEPS = ride(hinge(52.0), noise_n=1.0, seed=1)
ANSWER = onset(STEPS)


@pytest.mark.parametrize(
    ("named_mm", "least_squares_mm", "bend_mm"),
    [
        (47.0, 61.0, 47.0),
        (None, 61.0, 61.0),
        (None, None, 55.0),
        (None, float("nan"), 55.0),
        (20.0, 61.0, 30.0),
        (None, 95.0, 80.0),
    ],
    ids=["named", "least squares", "neither", "no number", "in front of all", "behind all"],
)
def test_the_bend_is_where_it_is_named_and_else_where_least_squares_has_it(named_mm, least_squares_mm, bend_mm):
    """Ridden from 80 to 30 mm: the middle is 55 mm."""
    answer = replace(ANSWER, onset_mm=named_mm, least_squares_mm=least_squares_mm)

    assert seen(answer, STEPS, ON_THE_JIG).bend_mm == bend_mm


def lighter_effort(steps, by_nm, *, start):
    """The same from this step on with so much less torque, and a hand load that follows it by -2 N/Nm."""

    def eased(step):
        strokes = tuple(
            replace(one, hands_n=one.hands_n + 2.0 * by_nm, crank_torque_nm=one.crank_torque_nm - by_nm)
            for one in step.strokes
        )
        load_n, torque_nm = step.hand_load_n + 2.0 * by_nm, step.crank_torque_nm - by_nm
        return replace(step, hand_load_n=load_n, crank_torque_nm=torque_nm, strokes=strokes)

    return [eased(step) if i >= start else step for i, step in enumerate(steps)]


@pytest.mark.parametrize("seed", [5, 6, 7])
def test_one_missed_torque_does_not_make_the_effort_of_the_others_look_like_fatigue_or_posture(seed):
    rng = np.random.default_rng(seed)
    steps = lighter_effort(sweeps.sweep(rng, order=(*OUT_AND_BACK, 80.0), sway_n=1.5), 4.0, start=6)

    found = [test(seen(answer(), silent(steps, 4), ON_THE_JIG)) for test in TESTS]

    assert [one.test for one in found if one.result is Result.FAILED] == ["torque"]
    assert next(one for one in found if one.test == "torque").value == 1.0


def test_a_step_whose_torque_was_missed_is_known_less_well():
    """As the estimator knows it. The torques of the others differ by 2 N m (sd); the strokes of this ride say -4.2 +-
    2.4 N/Nm, with what is believed beforehand -2.7 +- 1.1: what one more would differ by moves hand load by 6 N."""
    steps = lighter_effort(sweeps.sweep(np.random.default_rng(5), sway_n=1.5), 4.0, start=5)
    whole, gap = (seen(answer(), each, ON_THE_JIG).levels.se_n for each in (steps, silent(steps, 4)))

    assert np.delete(gap, 4) == pytest.approx(np.delete(whole, 4), rel=0.1)
    assert gap[4] == pytest.approx(np.hypot(whole[4], np.hypot(2.7, 1.1) * 2.0 * np.sqrt(1.0 + 1.0 / 10.0)), rel=0.1)
    assert gap == pytest.approx(gathered(silent(steps, 4)).se_n)


def test_a_first_position_without_torque_is_compared_when_it_is_ridden_again():
    steps = sweeps.sweep(np.random.default_rng(5), order=(*OUT_AND_BACK, 80.0), sway_n=1.5)
    whole, gap = (first_again(seen(answer(), each, ON_THE_JIG)) for each in (steps, silent(steps, 0)))

    assert gap.result is whole.result is Result.PASSED
    assert gap.value == pytest.approx(whole.value, abs=1.0)
