"""A sweep that has ended: it asks for nothing, and may go on."""

import pytest

from daq.refusals import BadValue, NotNow
from daq.sweep.run import State, Trigger
from daq.values import NAN
from tests.sweep.pedalled import PLAN, begun, ride


def one_step(progress, t_s):
    """The position asked for, ridden; the time after it."""
    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=progress.asked_setback_mm)
    return ride(progress, t_s, 40.0)[1]


def test_a_sweep_stopped_by_mistake_goes_on_from_the_step_it_stood_at():
    progress = begun()
    t_s = one_step(progress, 0.0)
    with pytest.raises(NotNow, match="has not ended"):
        progress.go_on(t_s)
    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=60.0)
    ride(progress, t_s, 12.0)
    progress.take(Trigger.STOP, t_s + 12.0)

    progress.go_on(t_s + 60.0)

    assert (progress.state, progress.asked_setback_mm, len(progress.steps)) == (State.MOVING, 60.0, 1)
    one_step(progress, t_s + 60.0)
    assert [step.setback_mm for step in progress.steps] == [80.0, 60.0]


@pytest.mark.parametrize("end", [Trigger.ENOUGH, Trigger.STOP])
def test_a_sweep_that_has_ended_early_asks_for_nothing_and_has_no_time_left(end):
    progress = begun()
    t_s = one_step(progress, 0.0)
    progress.take(end, t_s)

    status = progress.status(t_s)

    assert (status.asked_setback_mm, status.seconds_left) == (None, 0.0)
    assert progress.left_setback_mm == 60.0


def test_more_positions_are_ridden_after_those_that_are_done():
    progress = begun()
    t_s = one_step(progress, 0.0)
    progress.take(Trigger.ENOUGH, t_s)

    progress.go_on(t_s, (61.0, 35.0, 30.0, 50.0, 45.0))

    assert progress.plan.positions_mm == (80.0, 61.0, 35.0, 30.0, 50.0, 45.0)
    assert progress.asked_setback_mm == 61.0


def test_a_plan_that_chooses_nothing_may_go_on_over_a_few_millimetres():
    progress = begun()
    progress.take(Trigger.STOP, 1.0)

    progress.go_on(2.0, (64.0, 63.0, 62.0, 61.0, 60.0))

    assert progress.asked_setback_mm == 64.0


@pytest.mark.parametrize("more", [(), (61.0, NAN)])
def test_what_cannot_go_on_is_refused_with_nothing_changed(more):
    progress = begun()
    t_s = 0.0
    while progress.state is not State.FINISHED:
        t_s = one_step(progress, t_s)

    with pytest.raises((NotNow, BadValue)):
        progress.go_on(t_s, more)

    assert (progress.state, progress.plan) == (State.FINISHED, PLAN)


def test_a_ride_with_its_end_lost_goes_on_where_it_did():
    progress = begun()
    t_s = one_step(progress, 0.0)

    progress.go_on(t_s, as_ridden=True)

    assert (progress.state, progress.asked_setback_mm) == (State.MOVING, 60.0)
