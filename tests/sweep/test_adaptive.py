import numpy as np
import pytest

from daq.refusals import BadValue
from daq.sweep.design import next_step
from daq.sweep.order import ordered, spaced
from daq.sweep.plan import Plan
from daq.sweep.progress import Notice, SweepProgress
from daq.sweep.run import State, Trigger
from daq.values import StepMean
from tests.sweep.pedalled import STROKE_S, stroke

POSITIONS = ordered(spaced(80.0, 30.0, 2.5), "adaptive", np.random.default_rng(0))


def ridden(bend_mm=53.0, slope=1.0, seed=3, positions=POSITIONS, lost=-1):
    """An adaptive sweep of a rider with a bend, ridden to its end; everything it said. lost: a step whose data is."""
    rng = np.random.default_rng(seed)
    progress = SweepProgress(Plan(positions, dwell_s=15.0, order="adaptive"))
    said = progress.take(Trigger.BEGIN, 0.0)
    t_s = 0.0
    while progress.state is State.MOVING:
        asked = progress.asked_setback_mm
        said += progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=asked)
        from_s, ridden = t_s, progress.ridden
        while progress.state in (State.SETTLING, State.AVERAGING):
            if ridden == lost and from_s + 10.0 < t_s < from_s + 11.0:
                progress.pass_over(t_s, t_s + 20.0)
                t_s += 20.0
            hands_n = 80.0 + slope * max(bend_mm - asked, 0.0) + rng.normal(0.0, 10.0)
            said += progress.feed(stroke(t_s, hands_n))
            t_s += STROKE_S
    return progress, said


def test_each_position_is_the_one_the_steps_before_it_call_for():
    progress, _ = ridden()

    for k, step in enumerate(progress.steps):
        left = {"minutes_left": float(len(POSITIONS) - k), "minutes_per_step": 1.0}
        assert step.setback_mm == next_step(progress.steps[:k], rear_mm=80.0, front_mm=30.0, **left).setback_mm


def test_it_ends_by_itself_with_the_reason_or_at_the_most_it_may_ask():
    progress, said = ridden()

    assert progress.state is State.FINISHED
    assert len(progress.steps) <= len(POSITIONS)
    assert len([one for one in said if isinstance(one, StepMean)]) == len(progress.steps)
    reasons = [one.text for one in said if isinstance(one, Notice) and one.level == "info"]
    assert len(reasons) == len(progress.steps) + 1


def test_a_sweep_that_may_ask_no_more_has_ridden_the_first_place_again():
    few = ordered(spaced(80.0, 30.0, 7.0), "adaptive", np.random.default_rng(0))

    progress, _ = ridden(slope=0.3, positions=few)

    assert len(progress.steps) == len(few)
    assert progress.steps[-1].setback_mm == progress.steps[0].setback_mm


def test_it_has_ridden_the_first_place_again_also_where_a_step_is_lost():
    few = ordered(spaced(80.0, 30.0, 7.0), "adaptive", np.random.default_rng(0))

    progress, _ = ridden(slope=0.3, positions=few, lost=2)

    assert (progress.left_out, progress.ridden) == ([2], len(few))
    assert progress.steps[-1].setback_mm == progress.steps[0].setback_mm


def test_going_on_over_a_range_too_narrow_for_the_jig_is_refused_with_nothing_changed():
    """Five places a millimetre apart are a plan, but leave no room for the coarse pass."""
    progress = SweepProgress(Plan(POSITIONS, order="adaptive"))
    progress.take(Trigger.BEGIN, 0.0)
    progress.take(Trigger.ENOUGH, 1.0)

    with pytest.raises(BadValue, match="needs 5 mm or more from end to end on this jig, got 64 to 60 mm"):
        progress.go_on(2.0, (64.0, 63.0, 62.0, 61.0, 60.0))

    assert (progress.state, progress.plan.positions_mm) == (State.FINISHED, POSITIONS)


def test_more_steps_lie_near_the_bend_than_in_an_even_sweep():
    progress, _ = ridden()

    near = [step for step in progress.steps[5:] if abs(step.setback_mm - 53.0) <= 15.0]
    assert len(near) > 0.6 * len(progress.steps[5:])


def test_a_redone_step_is_asked_from_the_steps_that_are_left():
    progress = SweepProgress(Plan(POSITIONS, dwell_s=15.0, order="adaptive"))
    progress.take(Trigger.BEGIN, 0.0)
    first = progress.asked_setback_mm
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=first)
    t_s = 0.0
    while progress.state is not State.MOVING:
        progress.feed(stroke(t_s, 80.0 + (round(t_s / STROKE_S) % 2)))
        t_s += STROKE_S
    assert progress.asked_setback_mm != first

    progress.take(Trigger.REDO, t_s)

    assert progress.asked_setback_mm == first


@pytest.mark.parametrize("order", ["out and back", "shuffled", "one way"])
def test_other_orders_ride_what_was_planned(order):
    progress = SweepProgress(Plan(POSITIONS, order=order))
    progress.take(Trigger.BEGIN, 0.0)

    assert progress.status(0.0).planned_mm == POSITIONS
    assert progress.asked_setback_mm == POSITIONS[0]
