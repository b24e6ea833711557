"""Two places ridden by turns, against regression by another road and by simulation."""

import numpy as np
import pytest
from scipy import stats

from daq.sweep.paired import Scatter, by_turns, of_steps, paired
from daq.sweep.plan import BadPlan

TURNS = [False, True, False, True]
MINUTES = [0.0, 1.0, 2.0, 3.0]
HARDLY = Scatter(1.0, 1e-9)
WELL = Scatter(2.0, 7.0)


def test_visits_by_turns_leave_the_weights_that_take_a_straight_drift_out():
    """(1, -3, 3, -1) / 4: they add up to nothing, to nothing over a straight line, and to one at the second place."""
    weights = [paired(row, TURNS, MINUTES, WELL).difference for row in np.eye(4)]

    assert weights == pytest.approx([-0.25, 0.75, -0.75, 0.25])
    drifting = [10.0, 13.0, 10.0 + 4.0, 13.0 + 4.0]
    assert paired(drifting, TURNS, MINUTES, WELL).difference == pytest.approx(1.0)


def test_with_nothing_known_before_it_is_ordinary_regression():
    """Frisch and Waugh: the slope of what the drift leaves of the loads on what it leaves of the place; scipy."""
    rng = np.random.default_rng(3)
    turns, minutes = TURNS * 2, np.arange(8.0)
    loads = 80.0 + 5.0 * np.array(turns) + 0.4 * minutes + rng.standard_normal(8)
    drift = np.column_stack([np.ones(8), minutes])

    def left(y):
        return y - drift @ np.linalg.lstsq(drift, y, rcond=None)[0]

    reference = stats.linregress(left(np.array(turns, dtype=float)), left(loads))
    half = stats.t.ppf(0.975, 5) * reference.stderr * np.sqrt(6 / 5)  # linregress counts the drift as no parameter

    found = paired(loads, turns, minutes, HARDLY)

    assert found.difference == pytest.approx(reference.slope)
    assert found.interval_95 == pytest.approx((reference.slope - half, reference.slope + half), rel=1e-6)


def test_nineteen_intervals_of_twenty_hold_the_truth_however_the_ride_drifts():
    """The scatter of a visit estimated by seven degrees of freedom, as a sweep of eleven steps leaves them."""
    rng = np.random.default_rng(11)
    inside = []
    for _ in range(2000):
        known = Scatter(2.0 * np.sqrt(rng.chisquare(7) / 7), 7.0)
        loads = 80.0 - 6.0 * np.array(TURNS) + rng.normal(0, 3) * np.array(MINUTES) + 2.0 * rng.standard_normal(4)
        low, high = paired(loads, TURNS, MINUTES, known).interval_95
        inside.append(low < -6.0 < high)

    assert np.mean(inside) == pytest.approx(0.95, abs=0.012)  # 2.5 standard errors of 2000 draws


def test_a_rider_who_scatters_more_than_in_the_sweep_gets_a_wider_interval():
    calm, restless = [80.0, 74.0, 80.0, 74.0], [80.0, 74.0, 92.0, 62.0]

    assert np.ptp(paired(restless, TURNS, MINUTES, WELL).interval_95) > 1.5 * np.ptp(
        paired(calm, TURNS, MINUTES, WELL).interval_95
    )


def test_three_visits_can_tell_and_two_cannot():
    assert paired([80.0, 74.0, 80.0], TURNS[:3], MINUTES[:3], WELL).difference == pytest.approx(-6.0)
    assert paired([80.0, 74.0], TURNS[:2], MINUTES[:2], WELL) is None
    assert paired([80.0, np.nan, 80.0, np.nan], TURNS, MINUTES, WELL) is None
    assert paired([80.0, 74.0, np.nan, 74.0], [True, False, True, False], [0.0, 1.0, 2.0, 2.0], WELL) is not None


def test_a_difference_that_went_with_time_alone_is_none():
    """The second place later and only then: a drift would do the same."""
    assert paired([80.0, 80.0, 74.0], [False, False, True], [0.0, 0.0, 1.0], WELL) is None


def test_places_go_by_turns_and_one_place_is_none_to_compare():
    assert by_turns(78.0, 58.0) == (78.0, 58.0, 78.0, 58.0)
    with pytest.raises(BadPlan, match="where the saddle is today"):
        by_turns(58.0, 58.5)


def test_a_visits_scatter_is_that_of_its_mean_and_of_visits():
    assert of_steps([1.5, 1.5], 2.0, 7.0) == Scatter(2.5, 7.0)
    assert of_steps([float("nan")], 2.0, 3.0) == Scatter(2.0, 3.0)
