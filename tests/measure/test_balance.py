import math
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.balance import (
    Contact,
    UnseenHands,
    WeightLine,
    com_height,
    hands_off_deficit_nm,
    learned,
    learned_of_riders,
    weight_line,
)
from daq.physics import crank_torque_nm, weight_normal_n

TILT_DEG = 2.8624052261
"""5 %."""
WEIGHT_N = weight_normal_n(75.0, TILT_DEG)
TORQUE_NM = crank_torque_nm(200.0, 90.0)
HANDS = Contact(0.57, 0.66, 104.9)
SADDLE = Contact(-0.20, 0.678, 388.3)


def line(hands=HANDS, saddle=SADDLE, **changed):
    return weight_line(
        hands, saddle, **{"torque_nm": TORQUE_NM, "weight_normal_n": WEIGHT_N, "tilt_deg": TILT_DEG, **changed}
    )


def test_the_worked_example_without_tangential_forces():
    found = line()

    assert 1000.0 * found.x_m == pytest.approx(4.565, abs=5e-4)
    assert found.single_axis


def test_the_worked_example_with_tangential_forces():
    found = line(Contact(0.57, 0.66, 104.9, -12.0), Contact(-0.20, 0.678, 388.3, 41.0))

    assert 1000.0 * found.x_m == pytest.approx(-22.495, abs=5e-4)
    assert not found.single_axis
    assert found.bias_m == 0.0


def test_single_axis_cells_are_off_by_the_bias_of_the_free_body():
    """The readings differ by ((y_h - y_s) T_h - y_s T_f)/W' + y_s tan t, with T_f the rest of W sin t."""
    hands_t, saddle_t = -12.0, 41.0
    feet_t = WEIGHT_N * math.tan(math.radians(TILT_DEG)) - hands_t - saddle_t
    measured = line(Contact(0.57, 0.66, 104.9, hands_t), Contact(-0.20, 0.678, 388.3, saddle_t))

    bias = ((0.66 - 0.678) * hands_t - 0.678 * feet_t) / WEIGHT_N + 0.678 * math.tan(math.radians(TILT_DEG))

    assert line().x_m - measured.x_m == pytest.approx(bias, abs=1e-12)


def test_at_five_per_cent_the_estimated_bias_is_about_34_mm_known_within_about_11():
    found = line()

    assert 1000.0 * found.bias_m == pytest.approx(34.0, abs=0.5)
    assert 1000.0 * found.u_m == pytest.approx(11.0, abs=1.5)
    assert found.estimate_m == found.x_m - found.bias_m


def test_level_single_axis_cells_have_no_bias_to_take_off():
    assert line(tilt_deg=0.0).bias_m == 0.0


@pytest.mark.parametrize("share_of_feet", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("hands_t", [-60.0, 60.0])
def test_hands_that_push_harder_than_assumed_are_covered_once_the_rig_says_so(hands_t, share_of_feet):
    """The feet hold a part of what the hands push, the saddle the rest: free body, moments about the BB."""
    weight_t = WEIGHT_N * math.tan(math.radians(TILT_DEG))
    feet_t = -share_of_feet * hands_t
    saddle_t = weight_t - hands_t - feet_t
    true = line(Contact(0.57, 0.66, 104.9, hands_t), Contact(-0.20, 0.678, 388.3, saddle_t))

    assumed, told = line(), line(unseen=UnseenHands(0.0, 60.0, "a test"))

    assert abs(told.estimate_m - true.x_m) < 2.0 * told.u_m
    assert assumed.estimate_m == told.estimate_m
    if share_of_feet == 0.6:
        assert abs(assumed.estimate_m - true.x_m) > 2.0 * assumed.u_m


def test_a_mean_pull_of_the_hands_moves_line_and_deficit_as_the_free_body_says():
    steep = Contact(0.57, 0.86, 104.9)
    pull = UnseenHands(-30.0, 10.0, "a test")

    moved_m = line(hands=steep, unseen=pull).bias_m - line(hands=steep).bias_m

    # lever 0.86 - 0.678 m times -30 N over the weight
    assert moved_m == pytest.approx(0.182 * -30.0 / WEIGHT_N)
    measured = hands_off_deficit_nm(Contact(0.57, 0.86, 104.9, -30.0), SADDLE)
    assert hands_off_deficit_nm(steep, SADDLE, pull) == pytest.approx(measured)


@pytest.mark.parametrize("share_of_feet", [0.0, 0.3, 0.6])
def test_a_pull_that_the_feet_may_hold_as_well_as_the_saddle_is_in_the_uncertainty(share_of_feet):
    """Free body, moments about the BB: the feet hold a part of the stated pull, the saddle the rest."""
    pull_n, weight_t = -60.0, WEIGHT_N * math.tan(math.radians(TILT_DEG))
    saddle_t = weight_t - pull_n + share_of_feet * pull_n
    true = line(Contact(0.57, 0.66, 104.9, pull_n), Contact(-0.20, 0.678, 388.3, saddle_t))

    told = line(unseen=UnseenHands(pull_n, 12.0, "a test"))

    assert abs(told.estimate_m - true.x_m) < 2.0 * told.u_m


def test_what_single_axis_rigs_may_assume_is_learned_from_rigs_that_measure_it():
    """Mean and spread for one more rider; Student's t of JCGM 100 table G.2 for 5 degrees of freedom: 2.57 by 1.96."""
    found = learned([-20.0, -10.0, 0.0, -15.0, -5.0, -10.0])

    assert found.hands_n == pytest.approx(-10.0)
    # sum of squares 250 over 5; one more beside the six
    assert found.hands_u_n == pytest.approx(math.sqrt(50.0) * math.sqrt(7 / 6) * 2.571 / 1.960, rel=1e-3)
    assert found.said == (
        "the hands' force along the jig is not measured: taken as -10 ± 10 N (standard uncertainty; from 6 states "
        "measured)"
    )
    with pytest.raises(ValueError, match="at least 5 measured states to learn from, got 4"):
        learned([0.0] * 4)


def test_of_five_riders_each_counts_once_and_of_fewer_the_assumed_spread_stays():
    """The means -20, -10, 0, -15, -5 have a mean of -10 and a standard deviation of the root of 62.5."""
    riders = [[-25.0, -15.0, -20.0], [-10.0], [2.0, -2.0], [-15.0], [-5.0]]

    of_five, of_two = learned_of_riders(riders), learned_of_riders([*riders[:2], [-60.0, 0.0]])

    assert of_five == replace(learned([-20.0, -10.0, 0.0, -15.0, -5.0]), source="from 5 riders measured")
    assert of_two.hands_n == pytest.approx(-20.0)
    assert of_two.hands_u_n > 20.0  # the positions of these riders scatter more than is assumed
    assert learned_of_riders([[-30.0] * 11]).hands_u_n == 20.0
    with pytest.raises(ValueError, match="at least 5 measured states to learn from, got 4"):
        learned_of_riders([[0.0] * 4])


def test_one_tangential_cell_alone_counts_for_nothing():
    assert line(hands=Contact(0.57, 0.66, 104.9, -12.0)).x_m == line().x_m


@pytest.mark.parametrize(
    ("power_w", "cadence_rpm", "shift_mm"),
    [(100, 60, 21.6), (100, 90, 14.4), (200, 60, 43.3), (200, 90, 28.9), (300, 60, 64.9), (300, 90, 43.3)],
)
def test_leaving_the_torque_out_would_be_a_gross_error(power_w, cadence_rpm, shift_mm):
    """Q/(m g) for 75 kg: arithmetic with 9.80665."""
    level_n = weight_normal_n(75.0, 0.0)
    with_torque = line(torque_nm=crank_torque_nm(power_w, cadence_rpm), weight_normal_n=level_n, tilt_deg=0.0)
    without = line(torque_nm=0.0, weight_normal_n=level_n, tilt_deg=0.0)

    assert 1000.0 * (with_torque.x_m - without.x_m) == pytest.approx(shift_mm, abs=0.05)


def test_without_torque_there_is_no_weight_line():
    assert math.isnan(line(torque_nm=math.nan).x_m)


def test_the_hands_off_deficit_is_the_moment_about_the_saddle():
    hands, saddle = Contact(0.57, 0.66, 104.9, -12.0), Contact(-0.20, 0.678, 388.3, 41.0)
    arm, force = np.array([0.77, -0.018, 0.0]), np.array([-12.0, 104.9, 0.0])

    assert hands_off_deficit_nm(hands, saddle) == pytest.approx(np.cross(arm, force)[2])
    assert hands_off_deficit_nm(Contact(0.57, 0.66, 0.0, 0.0), saddle) == 0.0


def test_a_tilt_without_torque_leaves_no_height():
    unknown = [WeightLine(math.nan, 0.006, False, 0.0), WeightLine(-0.1, 0.006, False, 0.0)]

    assert com_height(unknown, [0.0, 16.0]).reason == "not available: the crank torque is not known at every tilt"


def lines(gradients_pct, x_c=0.02, y_c=0.83, single_axis=False):
    return [WeightLine(x_c - y_c * g / 100.0, 0.006, single_axis, 0.0) for g in gradients_pct]


def test_the_height_comes_from_attitudes_far_enough_apart():
    gradients = [-5.0, 0.0, 5.0, 15.0]

    found = com_height(lines(gradients), gradients)

    assert found.y_m == pytest.approx(0.83)
    assert 0.0 < found.u_m < 0.05


@pytest.mark.parametrize(
    ("gradients", "single_axis", "reason"),
    [
        ([0.0, 15.0], True, "do not measure forces along the jig"),
        ([0.0, 5.0], False, "5 % apart, at least 15 % are needed"),
        ([], False, "0 % apart"),
    ],
)
def test_otherwise_the_height_is_not_available_and_says_why(gradients, single_axis, reason):
    found = com_height(lines(gradients, single_axis=single_axis), gradients)

    assert found.y_m is None
    assert found.reason.startswith("not available")
    assert reason in found.reason
