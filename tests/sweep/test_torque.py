"""Crank torque of a step that the power sensor missed: a step is not lost for it, nor the torque of all the others."""

from dataclasses import replace

import numpy as np
import pytest

from daq.sweep.bend import bend_of
from daq.sweep.evidence import gathered, torque_effect
from daq.sweep.onset import BEND_FIRST, METHOD, onset
from daq.sweep.pooled import pooled
from daq.sweep.torque import with_torque
from daq.values import NAN
from tests.benchmarks.onset_rides import StrokeWorld, stroke_sweep
from tests.sweep.rides import hinge, silent, stroke_ride

WANDERS = StrokeWorld("one step without torque", added=(1.0, 1.5), torque_nm=1.2)


def test_a_missed_torque_is_predicted_as_far_off_as_it_is():
    """sd sqrt(1 + 1/k) for a further value of a normal sample of k (Hahn & Meeker 1991, Statistical Intervals; from
    memory), against 4,000 drawn sweeps."""
    rng = np.random.default_rng(5)
    step, off, stated = stroke_ride(hinge(52.0))[0], [], []
    for torque_nm in 21.0 + 0.7 * rng.standard_normal((4000, 6)):
        steps = [replace(step, crank_torque_nm=nm, strokes=()) for nm in torque_nm]
        filled, u_nm = with_torque(silent(steps, 3))
        off.append(filled[3].crank_torque_nm - torque_nm[3])
        stated.append(u_nm[3])
        assert np.delete(u_nm, 3) == pytest.approx(0.0)
        assert [each.crank_torque_nm for i, each in enumerate(filled) if i != 3] == np.delete(torque_nm, 3).tolist()

    assert np.sqrt(np.mean(np.square(stated)) / np.mean(np.square(off))) == pytest.approx(1.0, abs=0.03)


def test_strokes_that_the_sensor_missed_have_the_torque_of_their_step():
    steps = stroke_ride(hinge(52.0), seed=3)
    first, second, third, fourth, *rest = steps[0].strokes
    gap, harder = replace(third, crank_torque_nm=NAN), replace(fourth, crank_torque_nm=fourth.crank_torque_nm + 0.5)
    steps[0] = replace(steps[0], strokes=(first, second, gap, harder, *rest))

    filled, u_nm = with_torque(steps)

    assert filled[0].strokes[2].crank_torque_nm == steps[0].crank_torque_nm
    assert filled[0].strokes[3] == harder
    assert filled[1] is steps[1]
    assert not u_nm.any()


@pytest.mark.parametrize(("n", "places"), [(10, range(5)), (11, range(6)), (11, range(11))])
def test_unless_torque_is_known_on_most_steps_none_is_made_up(n, places):
    steps = silent(stroke_ride(hinge(52.0), seed=3)[:n], *places)

    assert with_torque(steps)[0] is steps


def test_two_torques_do_not_show_how_far_a_third_may_be_off_and_three_do():
    steps = stroke_ride(hinge(52.0), seed=3)

    assert with_torque(silent(steps[:3], 1))[0][1].crank_torque_nm is NAN
    assert with_torque(silent(steps[:4], 1))[1][1] > 0.0


def test_the_error_of_such_a_step_holds_what_its_torque_may_have_done():
    steps = stroke_sweep(WANDERS, 1)[1]
    filled, u_nm = with_torque(silent(steps, 4))
    model = pooled(filled)

    ratio = (gathered(silent(steps, 4)).se_n / model.hands.se_n) ** 2
    effect, spread = torque_effect(model)

    assert ratio[4] == pytest.approx(1.0 + (effect**2 + spread**2) * (u_nm[4] / model.hands.se_n[4]) ** 2)
    assert np.delete(ratio, 4) == pytest.approx(1.0)


def test_a_sweep_with_one_such_step_places_the_bend_nearly_as_well():
    """120 simulated riders whose torque wanders by 1.2 N m; without torque on any step the error is a fifth larger."""
    off = {"whole": [], "filled": [], "left out": []}
    for number in range(120):
        onset_mm, steps = stroke_sweep(WANDERS, number)
        missed = silent(steps, number % len(steps))
        for name, evidence in (
            ("whole", gathered(steps)),
            ("filled", gathered(missed)),
            ("left out", gathered(missed, fill=False)),
        ):
            off[name].append(-bend_of(evidence).mean - onset_mm)
    rms = {name: np.sqrt(np.mean(np.square(each))) for name, each in off.items()}

    assert rms["filled"] < 1.05 * rms["whole"]
    assert rms["left out"] > 1.1 * rms["filled"]


def test_the_method_before_does_without_torque_then():
    steps = silent(stroke_sweep(WANDERS, 3)[1], 4)
    nowhere = silent(steps, *range(11))

    before, now = onset(steps, method=BEND_FIRST), onset(steps, method=METHOD)

    assert before.p_onset == onset(nowhere, method=BEND_FIRST).p_onset
    assert now.p_onset != onset(nowhere, method=METHOD).p_onset
