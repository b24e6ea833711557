"""Sizes of the support-budget model. It is an assumption: no published loads over setback were found to hold it to."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.rider.budget import budget, posture
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, RiderKind, RiderModel, rider_of_kind, torque_of

GEOMETRY = JigGeometry()
PURE = RiderModel(slope_n_per_mm=None)
"""Nothing but the lever of the feet."""


def hands_n(model, setback_mm, gradient_pct=0.0, torque_nm=None, geometry=GEOMETRY):
    tilt_rad = math.atan(gradient_pct / 100.0)
    at = posture(model, geometry, setback_mm, tilt_rad)
    return float(budget(model, geometry).hands_n(at, torque_nm or model.torque_nm))


def test_hands_stay_light_behind_the_onset_and_rise_forward_of_it():
    behind = [hands_n(DEMO, s) for s in (52.0, 60.0, 70.0, 80.0)]
    forward = [hands_n(DEMO, s) for s in (52.0, 47.0, 42.0, 37.0, 32.0)]

    assert behind == pytest.approx([90.0] * 4, abs=1e-5)
    assert np.diff(forward) / 5.0 == pytest.approx([1.5] * 4, rel=0.01)


@pytest.mark.parametrize("onset_mm", [35.0, 52.0, 70.0])
def test_the_onset_is_where_the_model_says_level_and_at_the_reference_effort(onset_mm):
    model = replace(DEMO, onset_mm=onset_mm)

    assert budget(model, GEOMETRY).onset_mm(0.0, model.torque_nm) == pytest.approx(onset_mm, abs=1e-5)


def test_the_feet_alone_give_a_gentle_slope():
    slope = (hands_n(PURE, 30.0) - hands_n(PURE, 40.0)) / 10.0

    assert 0.1 < slope < 0.5


def test_with_the_bar_fixed_the_slope_is_smaller():
    fixed = replace(GEOMETRY, reach_kept=False)
    model = replace(PURE, light_hands_n=60.0)

    kept = hands_n(model, 30.0) - hands_n(model, 40.0)
    moved = hands_n(model, 30.0, geometry=fixed) - hands_n(model, 40.0, geometry=fixed)

    assert 0.3 < moved / kept < 0.9


def test_a_gradient_moves_the_onset_forward():
    found = budget(PURE, GEOMETRY)

    moved = [found.onset_mm(math.atan(g / 100.0), PURE.torque_nm) for g in (0.0, 4.0, 5.0)]

    assert 2.0 < (moved[0] - moved[1]) / 4.0 < 4.5
    assert 2.0 < (moved[0] - moved[2]) / 5.0 < 4.5


def test_torque_moves_the_onset_forward_and_lightens_the_hands():
    found = budget(PURE, GEOMETRY)

    assert found.onset_mm(0.0, PURE.torque_nm) - found.onset_mm(0.0, PURE.torque_nm + 1.0) == pytest.approx(12.0, abs=2)
    assert -2.8 < hands_n(PURE, 30.0, torque_nm=PURE.torque_nm + 1.0) - hands_n(PURE, 30.0) < -1.3


def test_riders_without_an_onset_have_none():
    for kind in (RiderKind.STRAIGHT, RiderKind.FLAT, RiderKind.LOADED):
        model = rider_of_kind(kind)

        assert budget(model, GEOMETRY).onset_mm(0.0, model.torque_nm) is None


@pytest.mark.parametrize(("kind", "slope"), [(RiderKind.STRAIGHT, 0.5), (RiderKind.FLAT, 0.0), (RiderKind.LOADED, 0.7)])
def test_their_hand_load_is_a_straight_line_over_the_whole_sweep(kind, slope):
    model = rider_of_kind(kind)

    loads = np.array([hands_n(model, s) for s in np.arange(80.0, 29.0, -5.0)])

    assert np.diff(loads) / 5.0 == pytest.approx(np.full(10, slope), abs=0.02)


def test_loaded_is_loaded_at_every_position():
    assert hands_n(rider_of_kind(RiderKind.LOADED), 80.0) > 1.5 * DEMO.light_hands_n


def test_a_gentle_bend_joins_the_same_two_lines():
    model = rider_of_kind(RiderKind.GENTLE_BEND)

    assert hands_n(model, 100.0) == pytest.approx(90.0, abs=0.2)
    assert (hands_n(model, 0.0) - hands_n(model, 5.0)) / 5.0 == pytest.approx(1.5, rel=0.02)
    # softplus at its centre: ln 2 times the width of the bend times the slope
    assert hands_n(model, 52.0) - 90.0 == pytest.approx(math.log(2.0) * 5.0 * 1.5, rel=0.01)


def test_a_rider_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match=r"slope_n_per_mm: expected 0.02 to 3, got 9"):
        RiderModel(slope_n_per_mm=9.0)
    with pytest.raises(ValueError, match=r"bend_mm: a gentle-bend rider needs"):
        RiderModel(kind=RiderKind.GENTLE_BEND)


def test_the_saddle_is_lighter_at_200_than_at_100_watts():
    """Potter et al. 2008, Med Sci Sports Exerc 40:1126-1134 (abstract): saddle force falls from 100 to 200 W."""
    found = budget(DEMO, GEOMETRY)
    at = posture(DEMO, GEOMETRY, 55.0, 0.0)
    torques_nm = np.array([torque_of(100.0, 90.0), torque_of(200.0, 90.0)])

    saddle_n = at.weight_normal_n - found.hands_n(at, torques_nm) - found.feet_n(at, torques_nm)

    assert saddle_n[1] < saddle_n[0]
