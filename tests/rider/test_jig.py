from dataclasses import replace

import numpy as np
import pytest

from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO, RiderModel, rider_of_kind

STILL = replace(DEMO, sway_n=0.0, side_sway_n=0.0, drift_n_per_min=0.0, power_wander_w=0.0, cadence_wander_rpm=0.0,
                stroke_spread=0.0)  # fmt: skip
"""The demo's rider without any wandering."""
WEIGHT_N = 75.0 * 9.80665


def jig(model=DEMO, seed=1):
    return SimulatedJig(model, rng=np.random.default_rng(seed))


def whole_strokes(block):
    """Scans from the first crank mark to the last."""
    first, *_, last = np.flatnonzero(block.crank_mark)
    return slice(first, last)


def hands(block):
    return block.cells_n[:, :2].sum(axis=1)


def test_a_ride_is_the_same_bit_for_bit_however_it_is_cut():
    whole, pieces = jig().advance(30.0), []
    cut = jig()
    for duration_s in [0.01] * 500 + [0.003] * 1000 + [0.6] * 20 + [0.0] + [10.0]:
        pieces.append(cut.advance(duration_s))

    for name in ("t_s", "cells_n", "crank_deg", "crank_mark", "torque_nm", "feet_n", "counts", "saturated"):
        assert np.array_equal(np.concatenate([getattr(p, name) for p in pieces]), getattr(whole, name)), name
    assert tuple(notice for piece in pieces for notice in piece.power) == whole.power


def test_another_seed_is_another_ride():
    assert not np.array_equal(jig(seed=1).advance(1.0).counts, jig(seed=2).advance(1.0).counts)


def test_hands_saddle_and_feet_carry_the_weight_at_every_tilt():
    ridden = jig()
    for gradient_pct in (0.0, 5.0, -5.0):
        ridden.set_gradient(gradient_pct)
        block = ridden.advance(5.0)

        normal_n = WEIGHT_N / np.hypot(1.0, gradient_pct / 100.0)
        assert block.cells_n.sum(axis=1) + block.feet_n == pytest.approx(np.full(len(block), normal_n), abs=1e-9)


def test_the_sensor_is_told_the_work_the_torque_does():
    block = jig().advance(60.0)  # 90 turns of 21 N m: the 16-bit total wraps at most once
    turn = whole_strokes(block)
    hertz = np.diff(np.unwrap(np.radians(block.crank_deg))) / (2.0 * np.pi) / 0.01
    work_j = np.sum(block.torque_nm[1:][turn] * 2.0 * np.pi * hertz[turn] * 0.01)
    turns = block.crank_mark.sum() - 1

    told_nm = (block.power[-1].torque_total_32 - block.power[0].torque_total_32) % 65536 / 32.0
    told_turns = block.power[-1].crank_revs - block.power[0].crank_revs

    assert told_nm / told_turns == pytest.approx(work_j / (2.0 * np.pi * turns), rel=0.005)
    assert np.mean([notice.power_w for notice in block.power[2:]]) == pytest.approx(200.0, rel=0.02)


def test_settled_hand_load_is_what_the_truth_says():
    ridden = jig(STILL)
    for setback_mm in (80.0, 52.0, 30.0):
        ridden.set_setback(setback_mm)
        ridden.advance(20.0)
        block = ridden.advance(20.0)

        assert hands(block)[whole_strokes(block)].mean() == pytest.approx(ridden.expected_hands_n(setback_mm), abs=0.05)


def test_the_curve_of_the_truth_has_its_corner_at_the_onset():
    truth = jig().truth()

    bends = np.diff(truth.curve_hands_n, n=2)

    assert truth.onset_mm == pytest.approx(52.0, abs=1e-5)
    assert truth.added_slope_n_per_mm == pytest.approx(1.5, rel=0.01)
    assert truth.curve_setback_mm[1 + int(np.argmax(bends))] == 52.0
    assert "simulated" in truth.label


def test_the_truth_follows_gradient_and_effort():
    ridden = jig(RiderModel())
    level = ridden.truth().onset_mm
    ridden.set_gradient(5.0)
    tilted = ridden.truth().onset_mm
    ridden.set_gradient(0.0)
    ridden.set_effort(220.0, 90.0)

    assert tilted < level - 5.0
    assert ridden.truth().onset_mm < level - 5.0


def test_a_rider_without_an_onset_has_none_in_its_truth():
    for kind in ("flat", "straight", "loaded"):
        truth = jig(rider_of_kind(kind)).truth()

        assert truth.onset_mm is None
        assert truth.added_slope_n_per_mm is None


def test_hand_load_ripples_twice_a_turn_by_20_to_40_newtons():
    block = jig(STILL).advance(20.0)
    turn = whole_strokes(block)

    second = 2.0 * np.mean(hands(block)[turn] * np.exp(-2j * np.radians(block.crank_deg[turn])))

    assert 20.0 < abs(second) < 40.0


def test_the_body_rocks_from_hand_to_hand_once_a_turn():
    block = jig(STILL).advance(20.0)
    turn = whole_strokes(block)
    to_right_n = 0.5 * (block.cells_n[turn, 1] - block.cells_n[turn, 0])

    first = 2.0 * np.mean(to_right_n * np.exp(-1j * np.radians(block.crank_deg[turn])))

    assert abs(first) == pytest.approx(STILL.rock_n, rel=0.01)
    # on the right hand when the right crank is level forward, 90 degrees from its top
    assert -np.degrees(np.angle(first)) == pytest.approx(90.0, abs=1.0)


def test_side_sway_goes_from_one_hand_to_the_other_and_leaves_the_sum():
    still, swaying = (jig(m).advance(300.0) for m in (STILL, replace(STILL, side_sway_n=4.0)))
    right_n = swaying.cells_n[:, 1] - still.cells_n[:, 1]

    assert hands(swaying) == pytest.approx(hands(still), abs=1e-9)
    # 300 s of 2.5 s memory: 60 independent values, a standard deviation within 9 %; three times that
    assert right_n.std() == pytest.approx(4.0, rel=0.27)


def test_sway_has_the_size_and_the_memory_it_is_given():
    model = replace(STILL, sway_n=5.0, sway_s=3.0)
    block = jig(model, seed=4).advance(1200.0)
    turns = block.t_s[: 60 * 1200].size // 200
    slow = hands(block)[: turns * 200].reshape(turns, 200).mean(axis=1)  # three turns at 90 rpm: no ripple left

    lag = np.corrcoef(slow[:-1], slow[1:])[0, 1]

    # means over h of an Ornstein-Uhlenbeck process: variance 2 sd^2 (u - 1 + e^-u)/u^2, neighbours' covariance
    # sd^2 ((1 - e^-u)/u)^2, u = h / correlation time (Gillespie 1996, Phys Rev E 54:2084); 600 values, 4 sd
    u = 2.0 / 3.0
    share = 2.0 * (u - 1.0 + np.exp(-u)) / u**2
    assert slow.std() == pytest.approx(5.0 * np.sqrt(share), rel=0.2)
    assert lag == pytest.approx(((1.0 - np.exp(-u)) / u) ** 2 / share, abs=0.15)


def test_a_move_unsettles_and_wears_off():
    ridden = jig(STILL)
    ridden.advance(20.0)
    ridden.set_setback(60.0)
    just, later = ridden.advance(0.67), ridden.advance(STILL.settle_s)

    assert hands(just).mean() - ridden.expected_hands_n(60.0) > 0.6 * STILL.settle_n
    assert abs(hands(later)[-67:].mean() - ridden.expected_hands_n(60.0)) < 0.1 * STILL.settle_n


def test_hands_shift_by_order_and_by_themselves():
    ridden = jig(STILL)
    before = hands(ridden.advance(2.0)).mean()
    ridden.set_hands_shift(12.0)

    assert hands(ridden.advance(2.0)).mean() - before == pytest.approx(12.0, abs=0.1)

    restless = replace(STILL, hand_shifts_per_min=6.0, hand_shift_n=30.0, hand_shift_s=2.0)
    more = hands(jig(restless).advance(600.0)) - hands(jig(STILL).advance(600.0))
    # 60 shifts of 2 s in 600 s, 0.18 of the time with overlaps, Poisson; 4 sd
    assert set(np.round(more, 6)) == {0.0, 30.0}
    assert (more > 1.0).mean() == pytest.approx(1.0 - np.exp(-0.2), abs=0.09)


def test_drift_is_so_many_newtons_a_minute():
    block = jig(replace(STILL, drift_n_per_min=1.0)).advance(240.0)
    minutes = hands(block)[: 240 * 100].reshape(4, 6000).mean(axis=1)  # 90 whole turns each

    assert np.diff(minutes) == pytest.approx([1.0] * 3, abs=0.01)


def test_a_rider_who_stops_pedalling_turns_no_crank_and_leans_on_the_bar():
    ridden = jig(STILL)
    before = hands(ridden.advance(5.0)).mean()
    ridden.set_pedalling(False)
    block = ridden.advance(10.0)

    assert not block.crank_mark.any()
    assert (block.torque_nm == 0.0).all()
    assert hands(block).mean() > before
    assert block.power[-1].power_w == 0


def test_an_empty_jig_shows_zero_forces_and_its_zero_counts():
    ridden = jig()
    ridden.set_aboard(False)
    block = ridden.advance(10.0)

    assert (block.cells_n == 0.0).all()
    # noise of 240 counts over 1000 scans: 7.6; four times that
    assert block.counts.mean(axis=0) == pytest.approx(ridden.electronics.zero_counts, abs=31)


def test_a_place_the_rider_cannot_sit_is_refused_and_nothing_changes():
    ridden = jig()

    with pytest.raises(ValueError, match=r"cannot span|expected less"):
        ridden.set_setback(700.0)

    assert len(ridden.advance(1.0)) == 100


@pytest.mark.parametrize(
    ("setting", "value", "said"),
    [
        ("advance", -1.0, "duration_s: time runs forward, got -1"),
        ("advance", float("nan"), "duration_s: time runs forward, got nan"),
        ("set_setback", float("nan"), "setback_mm: expected a number, got nan"),
        ("set_gradient", 45.0, "gradient_pct: expected -30 to 30, got 45"),
        ("set_hands_shift", float("inf"), "hands_n: expected -1000 to 1000, got inf"),
    ],
)
def test_what_cannot_be_is_refused(setting, value, said):
    with pytest.raises(ValueError, match=said):
        getattr(jig(), setting)(value)


def test_an_effort_nobody_rides_is_refused():
    with pytest.raises(ValueError, match="effort: expected 0-600 W at 20-180 rpm, got 200 W at 0 rpm"):
        jig().set_effort(200.0, 0.0)
