"""What a confirm ride is wanted for, and what it shows; every sweep here is made of numbers."""

import math
import re
from dataclasses import replace

import pytest

from daq.fit.case import evidence_of
from daq.fit.confirming import Difference, confirmed, plan_of, wanted
from daq.fit.ridden import gradient_sweep, main_sweep
from daq.sweep.plan import BadPlan
from tests.fit.sweeps import BICYCLE, INTAKE, RIG, ridden
from tests.keep.again.cases import CASE

LEVEL = ridden(label="level")
CLIMB = replace(ridden(gradient_pct=5.0), sweep_id=2)
NOW_MM, NEW_MM = INTAKE.saddle.setback_mm, 58.0


def confirm(
    load_n=lambda mm: 80.0 - 0.4 * (78.0 - mm), *, turns=2, sweep_id=9, gradient_pct=0.0, notes=None, first=NOW_MM
):
    second = NEW_MM if first == NOW_MM else NOW_MM
    made = ridden(
        load_n, positions=(first, second) * turns, answer=False, purpose="confirm", blinded=True,
        gradient_pct=gradient_pct, notes=notes,
    )  # fmt: skip
    return replace(made, sweep_id=sweep_id)


def shown(*rides, bicycle=BICYCLE):
    return confirmed((LEVEL, *rides), RIG, bicycle, present_mm=NOW_MM, chosen_mm=NEW_MM)


def test_a_changed_setback_wants_a_ride_on_the_level_and_on_the_climb_where_one_was_ridden():
    assert [one.gradient_pct for one in wanted((LEVEL,), NOW_MM, NEW_MM)] == [0.0]
    assert [one.gradient_pct for one in wanted((LEVEL, CLIMB), NOW_MM, NEW_MM)] == [0.0, 5.0]
    assert wanted((LEVEL,), NOW_MM, NOW_MM + 1.0) == ()
    assert wanted((LEVEL,), None, NEW_MM) == ()
    assert wanted((), NOW_MM, NEW_MM) == ()


def test_it_is_done_once_both_places_were_ridden_twice_on_that_gradient():
    def done(*rides, at_mm=NEW_MM):
        return [one.done for one in wanted((LEVEL, CLIMB, *rides), NOW_MM, at_mm)]

    assert done() == [False, False]
    assert done(confirm()) == [True, False]
    assert done(confirm(), confirm(gradient_pct=5.0, sweep_id=10)) == [True, True]
    assert done(replace(confirm(), steps=confirm().steps[:3])) == [False, False]
    assert done(confirm(), at_mm=62.0) == [False, False]


@pytest.mark.parametrize("chosen_first", [True, False])
def test_its_plan_is_the_sweeps_with_both_places_by_turns_and_a_rider_who_does_not_know(chosen_first):
    plan = plan_of((LEVEL, CLIMB), 5.0, NOW_MM, NEW_MM, chosen_first=chosen_first)

    pair = (NEW_MM, NOW_MM) if chosen_first else (NOW_MM, NEW_MM)
    assert plan.positions_mm == pair * 2
    assert (plan.blinded, plan.purpose, plan.gradient_pct, plan.power_w) == (True, "confirm", 5.0, CLIMB.plan.power_w)
    assert not plan.names_onset
    with pytest.raises(ValueError, match="no sweep was ridden at 5 % today"):
        plan_of((LEVEL,), 5.0, NOW_MM, NEW_MM, chosen_first=True)
    with pytest.raises(BadPlan, match="two different setbacks"):
        replace(plan, positions_mm=(78.0, 58.0, 68.0, 58.0))


@pytest.mark.parametrize("first", [NOW_MM, NEW_MM])
def test_the_difference_is_the_new_place_less_the_old_whichever_came_first(first):
    (ride,) = shown(confirm(first=first))
    hands, front = ride.differences[:2]

    assert hands.difference == pytest.approx(-8.0, abs=0.81)  # 0.4 N/mm over 20 mm, +-0.4 N by turns
    assert hands.clear
    assert hands.interval_95[0] < -8.0 < hands.interval_95[1]
    assert front.present < front.chosen
    assert re.fullmatch(r"hand load: -[79] N, 95 % -1[01] to -[4-6] N", hands.said)


def test_a_difference_within_what_visits_scatter_is_not_called_one():
    (ride,) = shown(confirm(lambda mm: 80.0 + 0.02 * (78.0 - mm)))

    assert not ride.differences[0].clear
    assert "no difference shown" in ride.differences[0].said


def test_a_short_sweep_does_not_tell_how_visits_scatter():
    """Six steps less level, two slopes and a drift leave two, which may lie on the curve by chance."""
    short = ridden(positions=(80.0, 60.0, 40.0, 30.0, 50.0, 70.0), label="level")
    by_chance = replace(short, onset=replace(short.onset, between_n=0.0))

    def interval(base):
        (one,) = confirmed((base, confirm()), RIG, BICYCLE, present_mm=NOW_MM, chosen_mm=NEW_MM)
        return one.differences[0].interval_95

    assert interval(by_chance) == interval(replace(short, onset=None))
    assert interval(replace(LEVEL, onset=replace(LEVEL.onset, between_n=0.0))) != interval(replace(LEVEL, onset=None))


def test_no_difference_has_no_sign():
    none = Difference("hand load", "N", 0, 80.0, 79.8, -0.2, (-4.0, 3.6), False)

    assert none.said == "hand load: 0 N, 95 % -4 to +4 N, no difference shown"


def test_the_riders_scores_are_compared_where_they_were_asked():
    notes = {0: {"hands": 6.0}, 1: {"hands": 3.0}, 2: {"hands": 6.0}, 3: {"hands": 3.0}}
    (ride,) = shown(confirm(notes=notes))
    hands, saddle = (next(one for one in ride.differences if one.what.endswith(name)) for name in ("hands", "saddle"))

    assert (hands.present, hands.chosen, hands.difference) == pytest.approx((6.0, 3.0, -3.0))
    assert hands.clear
    assert saddle.difference is None
    assert "not asked at both places" in saddle.said


def test_without_the_own_bicycle_the_front_wheel_is_not_known_and_says_why():
    (ride,) = shown(confirm(), bicycle=None)

    assert "own bicycle" in ride.differences[1].said


def test_the_last_whole_ride_counts():
    late = replace(confirm(lambda mm: 80.0, sweep_id=10), steps=confirm(lambda mm: 80.0).steps[:3])
    (ride,) = shown(confirm(sweep_id=9), late)

    assert (ride.sweep_id, ride.visits) == (9, (2, 2))


def test_a_confirm_ride_is_neither_the_sweep_a_decision_rests_on_nor_its_climb():
    rides = (LEVEL, CLIMB, confirm(), confirm(gradient_pct=5.0, sweep_id=10))

    assert main_sweep(rides).sweep_id == LEVEL.sweep_id
    assert gradient_sweep(rides).sweep_id == CLIMB.sweep_id
    evidence = evidence_of(replace(CASE, sweeps=rides))
    assert [one.name for one in evidence.against] == ["5 %"]
    assert [one.where for one in evidence.confirmed] == ["on the level", "on the climb of 5 %"]


def test_after_a_confirm_ride_its_place_is_thought_of_until_another_is_decided():
    undecided = replace(CASE, decision=None)

    assert evidence_of(replace(undecided, sweeps=(LEVEL, confirm()))).chosen_mm == NEW_MM
    assert evidence_of(replace(undecided, sweeps=(LEVEL,))).chosen_mm == math.ceil(LEVEL.onset.suggested_setback_mm)
    assert evidence_of(replace(CASE, sweeps=(LEVEL, confirm()))).chosen_mm == CASE.decision.setback_mm


def test_height_and_bar_of_a_place_between_positions_are_those_it_was_confirmed_with():
    ride = confirm()
    steps = tuple(replace(step, setting=replace(step.setting, saddle_height_mm=731.0)) for step in ride.steps)
    outside = replace(CASE, decision=CASE.decision.model_copy(update={"setback_mm": NEW_MM}))

    between = evidence_of(replace(outside, sweeps=(LEVEL,))).chosen.place
    confirmed_there = evidence_of(replace(outside, sweeps=(LEVEL, replace(ride, steps=steps)))).chosen.place

    assert between.height_mm != 731.0
    assert confirmed_there.height_mm == 731.0
