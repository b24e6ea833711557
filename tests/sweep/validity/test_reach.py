"""An even change of reach or drop over the sweep, against what the plan has them do."""

from dataclasses import replace

import pytest

from daq.sweep.plan import Plan
from daq.sweep.setting import SEAT_TUBE
from daq.sweep.validity.reach import reach
from daq.sweep.validity.seen import seen
from daq.values import Result, Setting
from tests.sweep.validity.sweeps import ON_THE_JIG, OUT_AND_BACK, answer, ride

KEPT = replace(ON_THE_JIG, protocol="reach kept", drop="drop kept")
BAR_HEIGHT = replace(KEPT, drop="bar height kept")


def found(conditions, *, reach_by=0.0, bar_by=0.0, saddle_by=0.0):
    """The test's finding where reach, bar and saddle go by so many mm with each mm that the saddle comes forward."""
    steps = []
    for step in ride():
        forward_mm = 55.0 - step.setback_mm
        setting = Setting(
            saddle_height_mm=(700.0 + saddle_by * forward_mm) / SEAT_TUBE,
            bar_x_mm=540.0 - step.setback_mm + reach_by * forward_mm,
            bar_y_mm=680.0 + bar_by * forward_mm,
        )
        steps.append(replace(step, setting=setting))
    return reach(seen(answer(), steps, conditions))


def test_a_drop_that_changes_though_it_is_to_be_kept_is_told_with_its_size_and_takes_no_verdict():
    told = found(KEPT, bar_by=-0.4)

    assert (told.result, told.forbids) == (Result.FAILED, False)
    assert "reach changed by +0 mm and the drop by +20 mm, evenly, which is not 'drop kept'" in told.means
    assert (told.value, told.unit) == (pytest.approx(20.0), "mm")
    assert told.cure == "take the answer for the drop as it was set, or ride the sweep again as planned"


def test_reach_and_drop_that_both_change_are_both_named():
    both, only_reach = found(KEPT, reach_by=0.4, bar_by=-0.4), found(KEPT, reach_by=0.4)

    assert "which is neither 'reach kept' nor 'drop kept'" in both.means
    assert "the reach and the drop as they were set" in both.cure
    assert only_reach.means.endswith("which is not 'reach kept'")
    assert (both.result, both.forbids) == (only_reach.result, only_reach.forbids) == (Result.FAILED, False)


def test_a_drop_that_the_plan_lets_grow_is_as_planned_and_one_that_the_bar_makes_is_not():
    saddle, bar = found(BAR_HEIGHT, saddle_by=0.28), found(BAR_HEIGHT, saddle_by=0.28, bar_by=0.28)

    assert saddle.result is Result.PASSED
    assert "the drop by +14 mm, evenly; the drop as planned, with the bar's height kept" in saddle.means
    assert "which is not 'bar height kept'" in bar.means
    assert found(KEPT, saddle_by=0.28).result is Result.FAILED
    assert found(KEPT, saddle_by=0.28, bar_by=0.28).result is Result.PASSED


@pytest.mark.parametrize(
    ("policies", "drop"),
    [
        ({}, "drop kept"),
        ({"bar_height_policy": "bar height kept"}, "bar height kept"),
        ({"protocol": "bar fixed"}, "bar height kept"),
        ({"protocol": "bar fixed", "height_policy": "height kept"}, "drop kept"),
        ({"bar_height_policy": "bar height kept", "height_policy": "height kept"}, "drop kept"),
    ],
)
def test_a_plan_has_the_drop_follow_the_saddle_only_where_the_saddle_rises_and_the_bar_does_not(policies, drop):
    assert Plan(OUT_AND_BACK, **policies).drop == drop


def kinked(off_mm):
    """The test's finding where the bar stands off by off_mm[i] at step i."""
    steps = []
    for i, step in enumerate(ride()):
        setting = Setting(bar_x_mm=540.0 - step.setback_mm + off_mm.get(i, 0.0))
        steps.append(replace(step, setting=setting))
    return steps, reach(seen(answer(), steps, KEPT))


@pytest.mark.parametrize("i", [0, 3, 5])
def test_a_bar_off_at_one_position_is_named_there_with_all_it_is_off(i):
    """A line through all of them takes a part of the 344 mm, at the end of the jig most."""
    steps, told = kinked({i: 344.0})

    at = f"{steps[i].setback_mm:g} mm"
    assert (told.result, told.forbids) == (Result.FAILED, True)
    assert f"the reach did not change evenly with the setback: at {at} it was 344 mm off" in told.means
    assert (told.value, told.unit) == (pytest.approx(344.0), "mm")
    assert told.cure == f"set saddle and bar right at {at} and ride it again"


def test_of_a_bar_off_at_several_positions_the_worst_is_named_and_all_are_to_be_set_right():
    steps, told = kinked({2: 60.0, 7: -40.0})

    assert f"at {steps[2].setback_mm:g} mm, the worst, it was" in told.means
    assert told.cure == "set saddle and bar right at every position and ride these again"
