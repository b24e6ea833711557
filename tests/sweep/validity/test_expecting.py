"""Riders who may expect the rise: with a sham step and without one."""

from dataclasses import replace

import numpy as np
import pytest

from daq.cli.telling import answer_lines
from daq.sweep.order import ordered, spaced, with_sham
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.sweep.validity.repeats import sham
from daq.sweep.validity.seen import seen
from daq.values import NAN, Result, Verdict
from tests.sweep.validity.faults import SHAM, failing
from tests.sweep.validity.sweeps import (
    ON_THE_JIG,
    ONE_WAY,
    OUT_AND_BACK,
    SIGHTED,
    answer,
    flat,
    ride,
    sweep,
)


@pytest.mark.study
def test_an_expecting_rider_who_knew_the_setback_is_not_believed_where_a_sham_was_ridden(monkeypatch):
    """12 N forward of 55 mm, saturating over 10 mm, by where the rider believes to be: at the sham, one move on. As if
    the statistics had named it, and with the sham alone to speak against it: they hardly ever do, and other tests take
    most of what they name. Without the comparison with the expectation 94 of these 100 are believed."""

    def expected(setback_mm):
        return 80.0 + 12.0 * -np.expm1(-max(55.0 - setback_mm, 0.0) / 10.0)

    monkeypatch.setattr("daq.sweep.validity.judged.TESTS", (sham,))
    rng, believed_mm = np.random.default_rng(8), (*OUT_AND_BACK[:4], 40.0, *OUT_AND_BACK[4:])
    rides = [sweep(rng, order=SHAM, load=expected, believed=believed_mm, sway_n=5.0, sway_s=5.0) for _ in range(100)]
    named = [judged(answer(55.0), steps, SIGHTED).verdict is Verdict.ONSET for steps in rides]

    assert np.mean(named) <= 0.05
    clear = judged(answer(), sweep(rng, order=SHAM), SIGHTED)
    assert clear.verdict is Verdict.ONSET


def test_a_sham_where_the_curve_is_level_does_not_acquit_a_rider_who_knew_the_setback():
    behind = ride(order=(*OUT_AND_BACK[:2], *OUT_AND_BACK[1:]))
    failed, found = failing(behind, SIGHTED)

    assert "sham" in failed
    assert found.verdict is Verdict.UNDECIDED
    assert failing(behind)[1].verdict is Verdict.ONSET
    assert failing(ride(order=SHAM), SIGHTED)[1].verdict is Verdict.ONSET


def test_a_sham_where_an_expected_rise_has_levelled_off_does_not_acquit():
    """12 N forward of 55 mm, saturating over 10 mm, of a quiet rider: from 40 to 30 mm it is 1.7 N, where a bent line
    through the loads has 5 N. By that line 8 of these 30 are acquitted."""

    def expected(setback_mm):
        return 80.0 + 12.0 * -np.expm1(-max(55.0 - setback_mm, 0.0) / 10.0)

    rng, order = np.random.default_rng(8), with_sham(OUT_AND_BACK)
    believed_mm = (*order[:5], 30.0, *order[6:])
    rides = [sweep(rng, order=order, load=expected, believed=believed_mm, sway_n=1.0) for _ in range(30)]
    clear = [sweep(rng, order=order, sway_n=1.0) for _ in range(30)]

    assert order[4:6] == (40.0, 40.0)
    assert sum(sham(seen(answer(55.0), steps, SIGHTED)).result is Result.PASSED for steps in rides) <= 2
    assert all(sham(seen(answer(), steps, SIGHTED)).result is Result.PASSED for steps in clear)


@pytest.mark.parametrize("over_mm", [5.0, 10.0])
def test_an_expected_rise_that_levels_off_is_not_believed_in_a_shuffled_sweep(over_mm):
    """The place that the rider believes in lies between two that were ridden, or beyond all of them, where the bent
    line says too much. Compared with that line, 44 of these 60 are acquitted."""

    def expected(setback_mm):
        return 80.0 + 12.0 * -np.expm1(-max(55.0 - setback_mm, 0.0) / over_mm)

    acquitted, believed = 0, 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        order = ordered(spaced(80.0, 30.0, 5.0), "shuffled", rng, sham=True)
        again = next(i for i in range(1, len(order)) if order[i] == order[i - 1])
        moved = order[again - 2] - order[again - 1]
        believed_mm = (*order[:again], order[again] - moved, *order[again + 1 :])
        knew = sweep(rng, order=order, load=expected, believed=believed_mm, sway_n=1.0)
        clear = sweep(rng, order=order, sway_n=1.0)
        acquitted += sham(seen(answer(), knew, SIGHTED)).result is Result.PASSED
        believed += sham(seen(answer(), clear, SIGHTED)).result is Result.PASSED

    assert acquitted <= 1
    assert believed == 30


def test_a_sham_after_a_move_back_acquits_where_the_place_believed_carries_less():
    """The rider would take 40 mm for 50, as the saddle went from 30 to 40 before."""
    order = (80.0, 60.0, 30.0, 40.0, 40.0, 50.0, 70.0, 65.0, 55.0, 45.0, 35.0, 75.0)
    rides = [sweep(np.random.default_rng(seed), order=order, sway_n=1.0) for seed in range(10)]

    assert all(sham(seen(answer(), steps, SIGHTED)).result is Result.PASSED for steps in rides)


def test_without_a_sham_the_caution_stands_beside_the_number():
    _, found = failing(ride(), SIGHTED)

    assert found.onset_mm == 52.0
    assert found.reasons[0] == found.caution
    assert found.caution.startswith("sham not ridden: a rise can also come from expectation (the rider knew ")
    assert found.caution.endswith("ride a sham step and repeated places, or keep the rider from knowing the setback")
    assert "sham" not in found.reasons[-1], "said once"
    lines = answer_lines(found)
    assert lines.index(f"caution: {found.caution}") == lines.index(next(one for one in lines if "onset: " in one)) + 1
    assert f"  - {found.caution}" not in lines


def test_the_caution_stands_too_where_nobody_said_what_the_rider_knew():
    """A bare table of steps."""
    caution = failing(ride(), Conditions())[1].caution

    assert "a rise can also come from expectation (if the rider knew the setback)" in caution
    few = [replace(step, strokes=(), se_n=NAN) for step in ride(order=SHAM[3:8])]
    uncompared = sham(seen(answer(), few, Conditions()))
    assert uncompared.means.startswith(
        "sham not compared, the steps' errors are not known: a rise can also come from expec"
    )


@pytest.mark.parametrize(
    ("order", "conditions"),
    [
        (OUT_AND_BACK, ON_THE_JIG),
        (OUT_AND_BACK, replace(SIGHTED, dummy=True)),
        (SHAM, SIGHTED),
    ],
    ids=["blinded", "a dummy", "a sham was ridden"],
)
def test_nothing_is_cautioned_where_the_rider_could_not_expect_it_or_a_sham_acquits(order, conditions):
    found = failing(ride(order=order), conditions)[1]

    assert found.verdict is Verdict.ONSET
    assert found.caution == ""


def test_without_a_number_there_is_nothing_to_caution_beside():
    assert failing(ride(order=ONE_WAY), SIGHTED)[1].caution == ""
    light = replace(answer(), verdict=Verdict.LIGHT, onset_mm=None, interval_95_mm=None, p_onset=0.01, p_light=0.98)
    assert judged(light, ride(load=flat), SIGHTED).caution == ""
