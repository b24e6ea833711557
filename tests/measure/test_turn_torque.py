import math

import numpy as np
import pytest
from scipy import stats

from daq.measure.turn_torque import BOTH_LEGS, mean_angle_deg, torque_over_turn
from daq.rider.pedalling import both_legs_ripple
from tests.rider.legs import leg_torque


def sampled(pattern, turns=60, per_turn=8, noise_nm=1.0, seed=1):
    """Samples of 10 N m times the pattern, each turn's first sample somewhere else."""
    rng = np.random.default_rng(seed)
    angles = (rng.uniform(0.0, 360.0, (turns, 1)) + np.arange(per_turn) * 360.0 / per_turn) % 360.0
    torque = 10.0 * pattern(angles) + noise_nm * rng.standard_normal(angles.shape)
    return angles.ravel(), torque.ravel(), np.repeat(np.arange(turns), per_turn)


def mean_near(pattern, centre_deg):
    return float(np.mean(pattern(centre_deg + np.linspace(-30.0, 30.0, 2001))))


def test_one_leg_shows_its_torque_around_the_turn():
    found = torque_over_turn(*sampled(leg_torque), both_legs=False)

    inside = np.abs(found.torque_nm - 10.0 * leg_torque(found.angle_deg)) < 4.0 * np.hypot(found.se_nm, 0.2)
    assert inside.all()
    assert found.mean_nm == pytest.approx(10.0, abs=0.3)
    assert found.limits == ()


def test_one_leg_tells_the_push_over_the_top_from_the_bottom():
    rides = [torque_over_turn(*sampled(leg_torque, seed=seed), both_legs=False) for seed in range(60)]

    for side, centre_deg in (("top", 0.0), ("bottom", 180.0)):
        values = np.array([getattr(found, side) for found in rides])
        assert values[:, 0].mean() == pytest.approx(mean_near(leg_torque, centre_deg), abs=0.03)
        # 60 rides tell a scatter within 9 %; the stated error may be half again as large or a third smaller
        assert 0.67 < values[:, 1].mean() / values[:, 0].std() < 1.5


def test_both_legs_added_say_that_top_and_bottom_are_one():
    found = torque_over_turn(*sampled(lambda a: 1.0 + both_legs_ripple(a)), both_legs=True)

    assert BOTH_LEGS in found.limits
    assert found.top[0] == pytest.approx(found.bottom[0], abs=4.0 * math.hypot(found.top[1], found.bottom[1]))


def test_few_turns_name_no_dead_spot():
    found = torque_over_turn(*sampled(leg_torque, turns=5), both_legs=False)

    assert math.isnan(found.top[0])
    assert any("5 turns with torque; dead spots need at least 8" in limit for limit in found.limits)


def test_a_crank_that_is_held_back_has_no_push_over_the_top():
    """Shares of a torque that is no drive would have the wrong sign."""
    found = torque_over_turn(*sampled(lambda a: -leg_torque(a)), both_legs=False)

    assert np.isnan([*found.top, *found.bottom]).all()


def test_no_sample_at_all_is_no_torque():
    found = torque_over_turn(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64), both_legs=False)

    assert found.turns == 0
    assert math.isnan(found.mean_nm)


def test_angles_average_across_the_top():
    angles = np.array([350.0, 355.0, 5.0, 12.0])
    reference = stats.circmean(angles, high=360.0)

    mean, error = mean_angle_deg(angles)

    assert mean == pytest.approx(reference)
    assert error == pytest.approx(np.std([-10.0, -5.0, 5.0, 12.0]) / 2.0, rel=0.02)


def test_one_angle_has_no_spread():
    assert all(math.isnan(x) for x in mean_angle_deg(np.array([90.0])))
