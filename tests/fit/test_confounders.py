from dataclasses import replace

import pytest

from daq.fit.confounders import Disturbs, confounders
from daq.fit.prechecks import Measured
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.judged import judged
from daq.values import NAN, Setting
from tests.fit.sweeps import INTAKE, ridden

DONE = Measured(height_mm=722.0, knee_deg=30.0, saddle_tilt_deg=-1.0, cleats_set=True, hands_marked=True)
RIDER = INTAKE.model_copy(update={"inseam_mm": 815.0, "crank_mm": 170.0})
TWELVE = (*ridden().plan.positions_mm, 80.0)


def along(setback_mm):
    return 540.0 - setback_mm


def found(measured=DONE, *, bar_mm=along, **sweep):
    """Of a sweep that was judged, with the bar confirmed at bar_mm(setback)."""
    return {one.title: one for one in confounders(RIDER, measured, with_bar(bar_mm, **{"positions": TWELVE, **sweep}))}


def with_bar(bar_mm, **sweep):
    one = ridden(**sweep)
    steps = tuple(replace(step, setting=Setting(bar_x_mm=bar_mm(step.setback_mm))) for step in one.steps)
    conditions = Conditions(protocol=one.plan.protocol)
    return replace(one, steps=steps, onset=one.onset and judged(one.onset, steps, conditions))


def changed(**fields):
    return found(DONE.model_copy(update=fields))


def test_with_everything_in_order_nothing_disturbs():
    assert {one.disturbs for one in found().values()} == {Disturbs.IN_ORDER}


def test_feet_and_height_come_before_reach_and_torque():
    assert list(found())[:4] == ["Cleats", "Saddle height", "Saddle tilt", "Reach"]


def test_what_was_not_looked_at_is_not_known():
    assert changed(cleats_set=False)["Cleats"].disturbs is Disturbs.NOT_KNOWN
    assert changed(height_mm=None)["Saddle height"].disturbs is Disturbs.NOT_KNOWN
    assert changed(saddle_tilt_deg=None)["Saddle tilt"].disturbs is Disturbs.NOT_KNOWN


def test_a_height_far_from_both_rules_or_a_knee_outside_may_disturb():
    assert changed(height_mm=760.0)["Saddle height"].disturbs is Disturbs.MAY
    assert changed(knee_deg=40.0)["Saddle height"].disturbs is Disturbs.MAY


def test_a_tipped_saddle_or_one_that_tips_between_steps_may_disturb():
    tips = {0: {"saddle_tilt_deg": -1.0}, 5: {"saddle_tilt_deg": -1.8}}

    assert changed(saddle_tilt_deg=-5.0)["Saddle tilt"].disturbs is Disturbs.MAY
    assert found(notes=tips)["Saddle tilt"].disturbs is Disturbs.MAY


def test_a_saddle_that_its_test_found_tipped_may_disturb_with_what_the_test_says():
    one = ridden(positions=TWELVE)
    steps = tuple(replace(s, setting=Setting(saddle_tilt_deg=-1.0 - 2.0 * (s.setback_mm == 50.0))) for s in one.steps)
    tipped = replace(one, steps=steps, onset=judged(one.onset, steps, Conditions()))

    tilt = next(each for each in confounders(RIDER, DONE, tipped) if each.title == "Saddle tilt")

    assert tilt.disturbs is Disturbs.MAY
    assert tilt.said.startswith("the saddle's tilt went from -3.0 to -1.0 degrees")


def test_a_bar_that_stays_may_disturb():
    assert found(protocol="bar fixed")["Reach"].disturbs is Disturbs.MAY


def test_a_reach_that_nobody_confirmed_is_not_called_kept():
    assert found(bar_mm=lambda mm: NAN)["Reach"].disturbs is Disturbs.NOT_KNOWN
    assert found(answer=False)["Reach"].disturbs is Disturbs.NOT_KNOWN


def test_a_bar_that_did_not_go_along_may_disturb():
    assert found(bar_mm=lambda mm: 480.0)["Reach"].disturbs is Disturbs.MAY
    assert found(bar_mm=lambda mm: along(mm) + 9.0 * (mm == 50.0))["Reach"].disturbs is Disturbs.MAY


@pytest.mark.parametrize("steps", [0, 3])
def test_too_few_steps_are_not_a_torque_that_was_missed(steps):
    sweep = ridden()
    few = confounders(INTAKE, Measured(), replace(sweep, steps=sweep.steps[:steps], onset=None))

    assert next(one for one in few if one.title == "Crank torque").said == "not told by fewer than 4 steps"


def test_a_torque_that_trends_with_setback_cannot_be_told_from_it():
    trending = found(torque_nm=lambda mm: 21.2 + 0.02 * (mm - 55.0))

    assert trending["Crank torque"].disturbs is Disturbs.MAY
    assert "+1.00" in trending["Crank torque"].said
    little = found(torque_nm=lambda mm: 21.2 + 0.004 * (mm - 55.0))
    assert little["Crank torque"].disturbs is Disturbs.IN_ORDER, "0.2 N m move hand load by half a newton"


@pytest.mark.parametrize(
    ("nm_per_mm", "scatter_nm", "disturbs"),
    [(0.0048, 0.0, False), (0.0056, 0.0, True), (0.0064, 0.1, True), (0.0064, 0.2, False)],
    ids=["0.24 N m apart", "0.28 N m apart", "correlated by 0.9", "correlated by 0.7"],
)
def test_the_torque_disturbs_where_the_answer_says_so_and_only_there(nm_per_mm, scatter_nm, disturbs):
    sweep = ridden(torque_nm=lambda mm: 21.2 + nm_per_mm * (mm - 55.0) + scatter_nm * (mm % 10.0 == 0.0))
    torque = next(one for one in confounders(RIDER, DONE, sweep) if one.title == "Crank torque")

    said = any("crank torque went along with setback" in reason for reason in sweep.onset.reasons)
    assert (torque.disturbs is Disturbs.MAY, said) == (disturbs, disturbs)


def test_the_torque_is_that_of_the_strokes_as_the_answer_takes_it():
    sweep = ridden()
    steps = tuple(replace(one, crank_torque_nm=21.2 + 0.02 * (one.setback_mm - 55.0)) for one in sweep.steps)
    torque = next(one for one in confounders(RIDER, DONE, replace(sweep, steps=steps)) if one.title == "Crank torque")

    assert torque.disturbs is Disturbs.IN_ORDER


def test_a_first_position_that_reads_otherwise_at_the_end_is_drift():
    drifting = found(load_n=_last_higher())

    assert drifting["First position again"].disturbs is Disturbs.MAY
    assert found(positions=ridden().plan.positions_mm)["First position again"].disturbs is Disturbs.NOT_KNOWN


def test_a_first_position_that_a_sensor_read_is_the_same_within_its_error():
    again = found(positions=(*TWELVE[:-1], 79.7))

    assert again["First position again"].disturbs is Disturbs.IN_ORDER


def _last_higher():
    loads = iter([80.0] * 11 + [110.0])
    return lambda mm: next(loads)


def test_marks_are_counted():
    said = found(marks=("hands moved", "pain or numbness", "hands moved"))["Marked in passing"]

    assert said.disturbs is Disturbs.MAY
    assert said.said == "hands moved (2x), pain or numbness (1x)"
