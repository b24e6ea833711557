"""The other rider is what it says, shares nothing with the rider of the demo, and the onset holds up against it."""

import ast
from pathlib import Path

import numpy as np
import pytest

from daq.sweep.onset import onset
from daq.sweep.plan import Plan, out_and_back
from daq.values import Verdict
from tests.benchmarks.confound_rides import ridden
from tests.rider import other
from tests.rider.other import OtherRider

PLAN = Plan(
    positions_mm=out_and_back(80.0, 30.0, 11), dwell_s=25.0, cadence_rpm=other.CADENCE_RPM, power_w=other.POWER_W
)


def settled(rider, setback_mm, seconds):
    rider.place_saddle(setback_mm)
    rider.pass_time(60.0)
    return rider.ride(seconds)


def test_it_knows_nothing_of_the_rider_it_is_to_stand_beside():
    names = {
        node.module or ""
        for node in ast.walk(ast.parse(Path(other.__file__).read_text()))
        if isinstance(node, ast.ImportFrom)
    }

    assert not {name for name in names if name.startswith(("daq.rider", "daq.sweep", "daq.measure"))}


def test_it_sways_on_two_time_scales_with_heavy_tails(monkeypatch):
    for size in ("WALK_N_PER_ROOT_MIN", "BREATH_N", "COUGH_N"):
        monkeypatch.setattr(other, size, 0.0)
    strokes = settled(OtherRider(np.random.default_rng(1), onset_mm=None, slope_n_per_mm=0.0), 55.0, 7200.0)
    hands_n = np.array([stroke.hands_n for stroke in strokes])
    fast = np.diff(hands_n)

    def correlation(turns):
        return np.corrcoef(hands_n[turns:], hands_n[:-turns])[0, 1]

    # e^-T/tau over 3 and 14 turns for the fast one alone is 0.18 and 0.0004: what is left then is the slow one's
    assert 0.3 < correlation(3) < 0.6
    assert correlation(14) > 0.1
    assert correlation(14) / correlation(3) > 0.25
    assert np.mean((fast - fast.mean()) ** 4) / fast.var() ** 2 > 4.0  # 3 for a normal distribution


def test_its_torque_wanders_by_six_tenths_of_a_newton_metre():
    torque = np.array([s.crank_torque_nm for s in settled(OtherRider(np.random.default_rng(2)), 55.0, 7200.0)])

    # 7200 s of 12 s memory: 300 independent values, within 4.1 %; three times that
    assert torque.std() == pytest.approx(0.6, rel=0.13)
    assert torque.mean() == pytest.approx(21.2, abs=0.15)


def test_its_hands_go_from_level_to_its_slope():
    rider = OtherRider(np.random.default_rng(3), onset_mm=52.0, slope_n_per_mm=1.5)

    assert rider.level_n(90.0) == pytest.approx(76.0, abs=0.2)
    assert rider.level_n(20.0) - rider.level_n(25.0) == pytest.approx(7.5, rel=0.01)


@pytest.mark.study
def test_the_onset_named_covers_the_truth_of_a_rider_it_was_not_made_for():
    """40 riders: an interval that covers 0.95 covers fewer than 33 of as many once in 5000 trials."""
    named, covered = 0, 0
    for number in range(40):
        rng = np.random.default_rng([17, number])
        rider = OtherRider(rng, onset_mm=rng.uniform(42.0, 68.0), slope_n_per_mm=1.5)
        answer = onset(ridden(rider, PLAN)[0])
        if answer.interval_95_mm is not None:
            named += 1
            covered += answer.interval_95_mm[0] <= rider.onset_mm <= answer.interval_95_mm[1]

    assert named >= 20
    assert covered >= 0.83 * named


@pytest.mark.study
def test_no_onset_is_named_on_a_level_rider_it_was_not_made_for():
    verdicts = []
    for number in range(20):
        rider = OtherRider(np.random.default_rng([19, number]), onset_mm=None, slope_n_per_mm=0.0)
        verdicts.append(onset(ridden(rider, PLAN)[0]).verdict)

    assert Verdict.ONSET not in verdicts
