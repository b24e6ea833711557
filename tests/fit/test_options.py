"""What goes with each setback: height and bar as they were ridden there, stages with their days, what differs."""

import dataclasses
import datetime
import math

import pytest

from daq.fit.decision import Decision
from daq.fit.intake import SeatPost
from daq.fit.options import differences, option_at, options, place_at
from daq.fit.prechecks import Measured
from daq.values import Setting
from tests.fit.sweeps import INTAKE, RIG, ridden

DAY = datetime.date(2026, 11, 28)
MEASURED = Measured(height_mm=722.0)
AS_STARTED = {"start_setback_mm": 78.0, "start_height_mm": 722.0}


def at(setback_mm, sweep):
    return place_at(sweep, RIG, INTAKE, MEASURED, setback_mm)


def test_with_the_legs_extension_kept_a_saddle_further_forward_was_ridden_higher():
    sweep = ridden(**AS_STARTED)
    over_mm = 722.0 * math.sin(math.radians(73.5))
    # Pythagoras: the hip, 175 mm behind the nose and 85 mm above it, keeps its distance from the BB.
    reach_mm = math.hypot(78.0 + 175.0, over_mm + 85.0)
    raised_mm = math.sqrt(reach_mm**2 - (58.0 + 175.0) ** 2) - 85.0 - over_mm
    expected_mm = 722.0 + raised_mm / math.sin(math.radians(73.5))

    assert at(58.0, sweep).height_mm == pytest.approx(expected_mm, abs=0.01)
    assert expected_mm - 722.0 > 5.0
    assert at(78.0, sweep).height_mm == pytest.approx(722.0)


def test_with_the_height_kept_it_stays_and_the_bar_goes_along_with_the_reach():
    place = at(58.0, ridden(height_policy="height kept", **AS_STARTED))

    assert place.height_mm == 722.0
    assert place.bar_x_mm == pytest.approx(540.0 + 20.0)  # the rig's bar, 20 mm along with the saddle
    assert at(58.0, ridden(protocol="bar fixed", **AS_STARTED)).bar_x_mm == pytest.approx(540.0)


def test_what_the_fitter_said_of_a_position_counts_before_what_was_planned():
    sweep = ridden(**AS_STARTED)
    steps = tuple(
        dataclasses.replace(step, setting=Setting(saddle_height_mm=731.0)) if step.setback_mm == 60.0 else step
        for step in sweep.steps
    )

    assert at(60.0, dataclasses.replace(sweep, steps=steps)).height_mm == 731.0


def test_the_stages_have_their_days_and_the_re_check_comes_after_the_last():
    found = option_at(ridden(**AS_STARTED), None, RIG, INTAKE, MEASURED, 58.0, DAY)

    assert [(stage.place.setback_mm, stage.on.isoformat()) for stage in found.stages] == [
        (73.0, "2026-11-28"),
        (68.0, "2026-12-05"),
        (63.0, "2026-12-12"),
        (58.0, "2026-12-19"),
    ]
    heights_mm = [stage.place.height_mm for stage in found.stages]
    assert heights_mm == sorted(heights_mm)
    assert found.recheck_on == datetime.date(2027, 1, 9)


def test_every_millimetre_that_can_be_chosen_has_what_goes_with_it():
    intake = INTAKE.model_copy(update={"post": SeatPost(rails_front_mm=120, rails_rear_mm=190)})
    sweep = ridden(**AS_STARTED)
    found = options(sweep, None, RIG, intake, MEASURED, day=DAY, also_mm=[78.0])

    assert [one.place.setback_mm for one in found] == [float(mm) for mm in range(25, 86)]
    shares = [one.front_share.value for one in found]
    assert shares == sorted(shares, reverse=True), "further back there is less on the front wheel"
    (here,) = [one for one in found if one.place.setback_mm == 58.0]
    assert here == option_at(sweep, None, RIG, intake, MEASURED, 58.0, DAY)
    assert here.reaching.reachable is not None


def test_a_height_decided_otherwise_than_ridden_is_said():
    decided = Decision(setback_mm=58.0, height_mm=722.0, reason="as it was", decided_by="B. Fitter", recheck_on=DAY)
    (said,) = differences(decided, at(58.0, ridden(**AS_STARTED)))

    assert said.startswith("saddle height 722 mm was decided, 728 mm was ridden at 58 mm")
    assert differences(decided.model_copy(update={"height_mm": None}), at(58.0, ridden(**AS_STARTED))) == ()
