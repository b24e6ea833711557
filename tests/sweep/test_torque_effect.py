"""What crank torque does to a rider's hand load, from the strokes of a sweep: the one estimate every screen shows."""

import math

import numpy as np
import pytest

from daq.sweep.evidence import TORQUE_N_PER_NM, TORQUE_SPREAD, torque_effect
from daq.sweep.pooled import pooled
from daq.sweep.step import mean_over
from daq.values import Status, Stroke


def steps_of(hands_n, torque_nm, step):
    """Steps of strokes of two thirds of a second, one after the other."""
    found = []
    for number in np.unique(step):
        inside = np.flatnonzero(step == number)
        strokes = [
            Stroke(i / 1.5, (i + 1) / 1.5, hands_n[i], 430.0, 200.0, 0.0, torque_nm[i], 200.0, (), 60, Status(0))
            for i in inside.tolist()
        ]
        found.append(mean_over(80.0 - 5.0 * number, strokes))
    return found


def ridden(effect, *, torque_sd=1.0, steps=11, each=37, seed=1, sway=4.0, keep=0.8):
    """Hands (n,), torque (n,) and step (n,) of a rider who sways, and whose effort wanders within each step."""
    rng = np.random.default_rng(seed)
    step = np.repeat(np.arange(steps), each)
    torque, swayed = np.zeros(len(step)), np.zeros(len(step))
    for i in range(1, len(step)):
        torque[i] = 0.9 * torque[i - 1] + torque_sd * math.sqrt(1.0 - 0.9**2) * rng.standard_normal()
        swayed[i] = keep * swayed[i - 1] + sway * math.sqrt(1.0 - keep**2) * rng.standard_normal()
    levels = 90.0 + 30.0 * rng.random(steps)
    return levels[step] + effect * torque + swayed, 21.2 + torque, step


def effect_of(hands_n, torque_nm, step):
    return torque_effect(pooled(steps_of(hands_n, torque_nm, step)))


def test_a_rider_whose_torque_varies_tells_the_effect():
    found = np.array([effect_of(*ridden(-1.5, seed=seed)) for seed in range(20)])

    # Torque is averaged over 9 strokes before its effect is sought, or an error of reading it would hide the effect. Of
    # this torque, which forgets within 10 strokes and is read without error, that takes half the information away: the
    # largest of these spreads is 0.66 of the one before, without averaging 0.42.
    errors = found[:, 0] + 1.5
    assert np.all(found[:, 1] < 0.7 * TORQUE_SPREAD), "the strokes say more than what was known beforehand"
    assert np.sqrt(np.mean((errors / found[:, 1]) ** 2)) < 1.0, "the stated spread covers the errors"


def test_a_torque_held_still_leaves_what_was_known_beforehand():
    hands_n, torque_nm, step = ridden(-1.5)

    assert effect_of(hands_n, np.full_like(torque_nm, 21.2), step) == pytest.approx((TORQUE_N_PER_NM, TORQUE_SPREAD))


def test_levels_between_steps_are_not_taken_for_an_effect():
    """Torque that trends with setback is confounded with it: only departures within a step count."""
    step = np.repeat(np.arange(6), 30)
    rng = np.random.default_rng(3)
    torque_nm = 20.0 + step + 0.01 * rng.standard_normal(len(step))

    effect, spread = effect_of(50.0 + 10.0 * step + rng.standard_normal(len(step)), torque_nm, step)

    assert spread > 0.95 * TORQUE_SPREAD
    assert effect == pytest.approx(TORQUE_N_PER_NM, abs=0.3)


def test_without_strokes_what_was_known_beforehand_is_left():
    assert torque_effect(None) == (TORQUE_N_PER_NM, TORQUE_SPREAD)
