"""Two sweeps side by side."""

from dataclasses import replace

import numpy as np
import pytest

from daq.rider.budget import budget, posture
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, RiderModel
from daq.sweep.comparison import SAME_TORQUE_NM, compare
from daq.sweep.onset import onset
from daq.sweep.spreads import Spreads
from tests.sweep.rides import hinge, ride, stroke_ride

LEVEL = ride(hinge(58.0), noise_n=1.0, seed=1)
CLIMB = ride(hinge(46.0), noise_n=1.0, seed=2)
STEEP = ride(hinge(58.0, added=6.0), noise_n=1.0, seed=1)


def test_the_difference_is_that_of_the_two_onsets():
    found = compare(LEVEL, CLIMB)

    assert found.difference_mm == pytest.approx(onset(CLIMB).onset_mm - onset(LEVEL).onset_mm, abs=0.1)
    low, high = found.interval_95_mm
    assert low < -12.0 < high
    assert found.p_further_back < 0.01
    assert "further forward" in found.reasons[0]


def test_its_interval_is_about_the_root_of_the_sum_of_squares():
    widths = [np.ptp(onset(steps).interval_95_mm) for steps in (LEVEL, CLIMB)]

    alone = compare(LEVEL, CLIMB, scatter=Spreads(0.0, 0.0)).interval_95_mm
    assert np.ptp(alone) == pytest.approx(np.hypot(*widths), rel=0.1)


def test_the_days_and_the_sweeps_of_an_unchanged_rider_are_in_the_interval():
    """By hand, onsets scattering by 5 mm between days and not between sweeps: 1.96 sqrt(2) 5 is 13.9 mm."""
    scatter = Spreads(25.0, 0.0)
    alone = compare(LEVEL, CLIMB, scatter=Spreads(0.0, 0.0))
    days = compare(LEVEL, CLIMB, same_session=False, scatter=scatter)

    assert days.difference_mm == pytest.approx(alone.difference_mm, abs=0.05)
    assert days.detectable_mm == pytest.approx(np.hypot(13.86, alone.detectable_mm), abs=0.1)
    assert np.ptp(days.interval_95_mm) == pytest.approx(2.0 * days.detectable_mm, rel=0.02)
    assert compare(LEVEL, CLIMB, scatter=scatter).detectable_mm == pytest.approx(alone.detectable_mm, abs=0.05)
    assert "no difference" in days.reasons[0], "12 mm that two days bring by themselves"
    assert f"on two days of an unchanged rider differ by up to {days.detectable_mm:.1f} mm" in days.reasons[-2]


def test_turning_the_comparison_round_turns_its_sign():
    there, back = compare(LEVEL, CLIMB), compare(CLIMB, LEVEL)

    assert back.difference_mm == pytest.approx(-there.difference_mm, abs=1e-9)
    assert back.interval_95_mm == pytest.approx((-there.interval_95_mm[1], -there.interval_95_mm[0]), abs=0.11)


def test_a_sweep_against_itself_shows_no_difference():
    found = compare(LEVEL, LEVEL)

    assert found.difference_mm == pytest.approx(0.0, abs=1e-9)
    assert found.p_further_back == pytest.approx(0.5, abs=1e-6)
    assert "no difference" in found.reasons[0]


def test_without_an_onset_there_is_no_difference_and_the_sweep_is_named():
    found = compare(LEVEL, ride(lambda s: 80.0, noise_n=0.5, seed=3), names=("saddle A", "saddle B"))

    assert found.difference_mm is None
    assert "saddle B has no onset" in found.reasons[0]


def test_across_sessions_there_is_a_caution():
    assert not any("sessions" in reason for reason in compare(LEVEL, CLIMB).reasons)
    assert any("different sessions" in reason for reason in compare(LEVEL, CLIMB, same_session=False).reasons)


def test_what_torque_alone_would_have_done_stands_beside_the_difference():
    easy = [replace(each, crank_torque_nm=21.0) for each in LEVEL]
    hard = [replace(each, crank_torque_nm=23.0) for each in CLIMB]

    found = compare(easy, hard)

    assert found.torque_difference_nm == pytest.approx(2.0)
    assert found.torque_alone_mm == pytest.approx(-2.0 * 2.25 / 1.5, rel=0.15)  # -2.25 N/Nm over about 1.5 N/mm
    assert "alone would have moved" in found.reasons[1]


@pytest.mark.parametrize(
    ("model", "noise_n"), [(RiderModel(), 0.1), (replace(DEMO, slope_n_per_mm=0.8), 0.4), (DEMO, 0.4)]
)
def test_a_rider_who_pushes_harder_has_the_onset_further_forward_as_far_as_torque_alone_may_move_it(model, noise_n):
    """Against the simulated rider's support budget, which knows nothing of comparisons: how far 1.5 N m more move its
    onset. The first has all of the torque's effect forward of the onset, the others part of it behind as well."""
    rider, torques_nm = budget(model, JigGeometry()), (model.torque_nm, model.torque_nm + 1.5)
    truth_mm = rider.onset_mm(0.0, torques_nm[1]) - rider.onset_mm(0.0, torques_nm[0])

    def hands_n(setback_mm, torque_nm):
        at = posture(model, rider.geometry, setback_mm, 0.0)
        return float(rider.hands_n(at, torque_nm))

    easy, hard = (
        ride(lambda s, q=q: hands_n(s, q), noise_n=noise_n, seed=seed, torque_nm=q, front_mm=20.0)
        for seed, q in zip((6, 7), torques_nm, strict=True)
    )
    found = compare(easy, hard)

    assert truth_mm < -0.5
    low, high = found.interval_95_mm
    assert low < truth_mm < high
    least, most = found.torque_alone_95_mm
    assert least < truth_mm < 0.0 <= most
    assert "anything from" in found.reasons[1]


def test_a_torque_that_moves_nothing_is_not_given_a_range_from_nothing_to_nothing():
    easy, hard = ([replace(each, crank_torque_nm=q) for each in steep] for q, steep in ((21.0, STEEP), (21.06, STEEP)))

    found = compare(easy, hard)

    assert found.torque_difference_nm > SAME_TORQUE_NM
    assert "anything from" not in found.reasons[1]
    assert "less than a millimetre" in found.reasons[1]


def test_unknown_torque_is_said():
    assert any("torque is not known" in reason for reason in compare(LEVEL, CLIMB).reasons)


def test_strokes_are_taken_too():
    found = compare(stroke_ride(hinge(58.0), seed=4), stroke_ride(hinge(46.0), seed=5))

    assert found.interval_95_mm[0] < -12.0 < found.interval_95_mm[1]
