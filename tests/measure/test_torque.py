import math

import numpy as np
import pytest

from daq.measure.torque import PRIOR_N_PER_NM, PRIOR_SD_N_PER_NM, crank_torque_nm, torque_effect


@pytest.mark.parametrize(
    ("power_w", "cadence_rpm", "torque_nm"), [(200.0, 90.0, 21.2207), (100.0, 60.0, 15.9155), (0.0, 90.0, 0.0)]
)
def test_torque_is_power_over_the_angular_speed(power_w, cadence_rpm, torque_nm):
    """P = Q omega; 200 W at 9.42478 rad/s."""
    assert crank_torque_nm(power_w, cadence_rpm) == pytest.approx(torque_nm, abs=5e-5)


@pytest.mark.parametrize("cadence_rpm", [0.0, None, math.nan])
def test_a_standing_or_unknown_crank_has_no_known_torque(cadence_rpm):
    assert math.isnan(crank_torque_nm(0.0, cadence_rpm))


def strokes(effect, *, torque_sd, steps=11, each=37, seed=1, sway=4.0, keep=0.8):
    rng = np.random.default_rng(seed)
    step = np.repeat(np.arange(steps), each)
    torque = 21.2 + torque_sd * rng.standard_normal(len(step))
    swayed = np.zeros(len(step))
    for i in range(1, len(step)):
        swayed[i] = keep * swayed[i - 1] + sway * math.sqrt(1.0 - keep**2) * rng.standard_normal()
    levels = 90.0 + 30.0 * rng.random(steps)
    return levels[step] + effect * (torque - 21.2) + swayed, torque, step


def test_a_rider_whose_torque_varies_tells_the_effect():
    found = [torque_effect(*strokes(-1.5, torque_sd=1.0, seed=seed)) for seed in range(40)]

    errors = np.array([f.n_per_nm + 1.5 for f in found])
    assert abs(errors.mean()) < 0.05
    # 40 standard deviations: good to 11 %
    assert errors.std() == pytest.approx(np.mean([f.u_n_per_nm for f in found]), rel=0.35)
    assert all(f.from_data > 0.9 for f in found)


def test_a_torque_held_still_leaves_the_prior():
    hands, torque, step = strokes(-1.5, torque_sd=1.0)

    found = torque_effect(hands, np.full_like(torque, 21.2), step)

    assert (found.n_per_nm, found.u_n_per_nm) == pytest.approx((PRIOR_N_PER_NM, PRIOR_SD_N_PER_NM))
    assert found.from_data < 1e-9


def test_levels_between_steps_are_not_taken_for_an_effect():
    """Torque that trends with setback is confounded with it: only departures within a step count."""
    step = np.repeat(np.arange(6), 30)
    rng = np.random.default_rng(3)
    torque = 20.0 + step + 0.01 * rng.standard_normal(len(step))

    found = torque_effect(50.0 + 10.0 * step + rng.standard_normal(len(step)), torque, step)

    assert found.from_data < 0.05
    assert found.n_per_nm == pytest.approx(PRIOR_N_PER_NM, abs=0.2)


def test_strokes_without_a_torque_are_left_out():
    hands, torque, step = strokes(-1.5, torque_sd=1.0)
    torque[::2] = np.nan

    assert torque_effect(hands, torque, step).strokes == len(step) // 2


def test_no_stroke_at_all_leaves_the_prior():
    empty = np.zeros(0)

    assert torque_effect(empty, empty, np.zeros(0, dtype=np.int64)).n_per_nm == PRIOR_N_PER_NM
