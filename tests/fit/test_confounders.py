from daq.fit.confounders import Disturbs, confounders
from daq.fit.prechecks import Measured
from tests.fit.sweeps import INTAKE, ridden

DONE = Measured(height_mm=722.0, knee_deg=30.0, saddle_tilt_deg=-1.0, cleats_set=True, hands_marked=True)
RIDER = INTAKE.model_copy(update={"inseam_mm": 815.0, "crank_mm": 170.0})
TWELVE = (*ridden().plan.positions_mm, 80.0)


def found(measured=DONE, **sweep):
    return {one.title: one for one in confounders(RIDER, measured, ridden(**{"positions": TWELVE, **sweep}))}


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


def test_a_bar_that_stays_may_disturb():
    assert found(protocol="bar fixed")["Reach"].disturbs is Disturbs.MAY


def test_a_torque_that_trends_with_setback_cannot_be_told_from_it():
    trending = found(torque_nm=lambda mm: 21.2 + 0.02 * (mm - 55.0))

    assert trending["Crank torque"].disturbs is Disturbs.MAY
    assert "+1.00" in trending["Crank torque"].said


def test_a_first_position_that_reads_otherwise_at_the_end_is_drift():
    drifting = found(load_n=_last_higher())

    assert drifting["First position again"].disturbs is Disturbs.MAY


def _last_higher():
    loads = iter([80.0] * 11 + [110.0])
    return lambda mm: next(loads)


def test_marks_are_counted():
    said = found(marks=("hands moved", "pain or numbness", "hands moved"))["Marked in passing"]

    assert said.disturbs is Disturbs.MAY
    assert said.said == "hands moved (2x), pain or numbness (1x)"
