"""Posture that relaxes, against the differential equation stepped through time."""

from dataclasses import replace

import numpy as np
import pytest

from daq.sweep.evidence import gathered
from daq.sweep.lag import dwells, operators
from tests.sweep.rides import ride, step, stroke

LOADS_N = np.array([80.0, 95.0, 110.0, 102.0, 85.0])


def moved_steps():
    """Five steps moved at 0, 50, 95 ... s and averaged from 7 s after to 32 s after."""
    moved_s = np.array([0.0, 50.0, 95.0, 160.0, 200.0])
    steps = []
    for k, begun_s in enumerate(moved_s):
        strokes = [stroke(begun_s + 7.0 + 0.7 * i, 0.0) for i in range(30 + k)]
        middle_min = np.mean([each.mid_s for each in strokes]) / 60.0
        steps.append(replace(step(80.0 - 10.0 * k, 0.0, middle_min, strokes=strokes), moved_min=begun_s / 60.0))
    return moved_s, steps


def by_euler(moved_s, tau_s, *, brought_n):
    """(t_s, z) of z' = (L - z) / tau in steps of 1 ms."""
    dt_s, z = 1e-3, LOADS_N[0] + brought_n
    t_s = dt_s * np.arange(int(240.0 / dt_s))
    felt = []
    for load_n in LOADS_N[np.searchsorted(moved_s, t_s, side="right") - 1].tolist():
        felt.append(z)
        z += dt_s * (load_n - z) / tau_s
    return t_s, np.array(felt)


@pytest.mark.parametrize(("which", "tau_s"), [(0, 35.0), (1, 150.0)])
def test_means_and_trends_are_those_of_the_differential_equation(which, tau_s):
    moved_s, steps = moved_steps()
    mean, change = (each[which] for each in operators(dwells(steps), np.array([35.0, 150.0])))
    everything = np.append(LOADS_N, 6.0)
    stepped = by_euler(moved_s, tau_s, brought_n=6.0)

    for k, each in enumerate(steps):
        at_s = np.array([s.mid_s for s in each.strokes])
        felt = np.interp(at_s, *stepped)
        assert mean[k] @ everything == pytest.approx(felt.mean(), abs=0.01)
        slope = np.polyfit(at_s, felt, 1)[0]
        assert change[k] @ everything == pytest.approx(slope * (at_s[-1] - at_s[0]), abs=0.01)


def test_a_rider_who_follows_at_once_feels_the_place_alone():
    mean, change = operators(dwells(moved_steps()[1]), np.array([0.1]))

    np.testing.assert_allclose(mean, np.eye(5, 6)[None], atol=1e-12)
    np.testing.assert_allclose(change, np.zeros((1, 5, 6)), atol=1e-12)


def test_without_times_there_is_no_lag_and_without_moves_no_trend():
    assert dwells([step(80.0, 80.0), step(70.0, 80.0)]) is None
    _, steps = moved_steps()
    assert dwells(steps).confirmed
    assert not dwells([replace(steps[0], moved_min=np.nan), *steps[1:]]).confirmed
    assert gathered(ride(lambda s: 80.0, noise_n=1.0)).trend is None
