"""A sweep of which something is lost: steps end when they ended, what no longer fits does not stop the rest."""

import pytest

from daq.items import lost
from daq.refusals import NotNow
from daq.sweep.losses import in_short, losses_said
from daq.sweep.run import FITTERS_TRIGGERS, State, Trigger
from tests.sweep.pedalled import PLAN, begun, ride, steps_of


def placed(setback_mm=80.0, t_s=0.0, progress=None):
    progress = progress or begun()
    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=setback_mm)
    return progress


def whole_step():
    """When a whole step ends, in strokes and in time."""
    out, _ = ride(placed(), 0.0, 60.0)
    (step,) = steps_of(out)
    return step


def test_a_step_with_a_gap_ends_when_it_ended_with_fewer_strokes():
    progress, whole = placed(), whole_step()
    before, t_s = ride(progress, 0.0, 14.0)
    progress.pass_over(t_s, t_s + 4.0)
    after, _ = ride(progress, t_s + 4.0, 40.0)

    (step,) = steps_of(before + after)
    assert step.strokes[-1].end_s == pytest.approx(whole.strokes[-1].end_s, abs=1.0)
    assert len(step.strokes) == pytest.approx(len(whole.strokes) - 6, abs=1)
    assert step.strokes[-1].end_s <= whole.strokes[-1].end_s + 0.7
    assert progress.left_out == []


def test_a_gap_is_no_stop_of_the_rider():
    progress = placed()
    _, t_s = ride(progress, 0.0, 14.0)
    assert progress.state is State.AVERAGING
    progress.pass_over(t_s, t_s + 9.0)

    assert progress.pass_time(t_s + 10.0) == []
    assert progress.state is State.AVERAGING


def test_a_step_of_which_half_is_lost_has_no_mean_and_the_next_position_is_asked():
    progress = placed()
    _, t_s = ride(progress, 0.0, 14.0)
    progress.pass_over(t_s, t_s + 15.0)
    out, _ = ride(progress, t_s + 15.0, 3.0)

    assert steps_of(out) == []
    assert (progress.left_out, progress.ridden, progress.state) == ([0], 1, State.MOVING)
    assert progress.asked_setback_mm == PLAN.positions_mm[1]


def test_a_gap_between_steps_changes_nothing_of_the_next():
    progress = placed()
    _, t_s = ride(progress, 0.0, 60.0)
    progress.pass_over(t_s, t_s + 15.0)
    placed(60.0, t_s + 15.0, progress)
    out, _ = ride(progress, t_s + 15.0, 60.0)

    (step,) = steps_of(out)
    assert len(step.strokes) == len(whole_step().strokes)


def test_a_saddle_moved_in_mid_step_leaves_that_step_out_and_begins_the_next():
    progress = placed()
    _, t_s = ride(progress, 0.0, 14.0)
    with pytest.raises(NotNow):
        progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=60.0)
    progress.take_as_ridden(Trigger.SADDLE_MOVED, t_s, setback_mm=60.0)

    assert (progress.left_out, progress.setback_mm, progress.state) == ([0], 60.0, State.SETTLING)
    out, _ = ride(progress, t_s, 60.0)
    assert [step.setback_mm for step in steps_of(out)] == [60.0]


def test_redoing_a_step_that_was_left_out_drops_no_other():
    progress = placed()
    _, t_s = ride(progress, 0.0, 60.0)
    placed(60.0, t_s, progress)
    _, t_s = ride(progress, t_s, 14.0)
    progress.pass_over(t_s, t_s + 15.0)
    ride(progress, t_s + 15.0, 3.0)
    progress.take(Trigger.REDO, t_s + 20.0)

    assert [step.setback_mm for step in progress.steps] == [80.0]
    assert (progress.left_out, progress.asked_setback_mm) == ([], 60.0)


def test_what_was_lost_before_a_redo_is_not_lost_of_the_step_ridden_again():
    progress = placed()
    _, t_s = ride(progress, 0.0, 14.0)
    progress.pass_over(t_s, t_s + 4.0)
    _, t_s = ride(progress, t_s + 4.0, 2.0)
    progress.take(Trigger.REDO, t_s)
    out, _ = ride(progress, t_s, 60.0)

    (step,) = steps_of(out)
    assert len(step.strokes) == pytest.approx(len(whole_step().strokes), abs=1)  # four seconds are six strokes


def test_a_tilt_read_at_a_step_finds_it_before_and_after_one_that_was_left_out():
    progress = placed()
    _, t_s = ride(progress, 0.0, 60.0)
    placed(60.0, t_s, progress)
    _, t_s = ride(progress, t_s, 14.0)
    progress.pass_over(t_s, t_s + 15.0)
    _, t_s = ride(progress, t_s + 15.0, 3.0)
    placed(40.0, t_s, progress)
    ride(progress, t_s, 60.0)

    noted = [progress.note_tilt(step, tilt_deg) for step, tilt_deg in ((0, -1.0), (1, -2.0), (2, -3.0))]

    assert (progress.left_out, noted) == ([1], [True, False, True])
    assert [step.setting.saddle_tilt_deg for step in progress.steps] == [-1.0, -3.0]


@pytest.mark.parametrize("event", sorted(FITTERS_TRIGGERS))
def test_whatever_the_fitter_did_it_is_taken_where_something_is_lost(event):
    for bring in ([], [Trigger.BEGIN], [Trigger.BEGIN, Trigger.PAUSE], [Trigger.BEGIN, Trigger.ENOUGH], [Trigger.STOP]):
        progress = begun()
        progress.state = State.WAITING
        for one in bring:
            progress.take(one, 0.0)
        progress.take_as_ridden(event, 1.0, setback_mm=60.0 if event is Trigger.SADDLE_MOVED else None)


def test_what_is_lost_is_said_in_one_sentence():
    gaps = [lost(0, f"gap {i}", to_us=9, source="board", scans=3) for i in range(5)]

    assert losses_said([]) == ""
    assert losses_said(gaps[:1]) == "some of what was received in this sweep is lost: gap 0. Computed from the rest"
    assert losses_said(gaps, 1) == (
        "some of what was received in this sweep is lost: gap 0; gap 1; gap 2; and 2 more such gaps; "
        "1 step is left out because of it. Computed from the rest"
    )


def test_many_losses_are_listed_in_short_and_what_overlaps_is_counted_once():
    scans = [f"scans of 'board' from {10 * i}.000 to {10 * i + 2}.500 s (chunk {i})" for i in range(8)]
    all_of_it = "notifications of sensors from 1.000 to 31.000 s"

    assert in_short(scans[:5]) == scans[:5]
    assert in_short(scans) == [*scans[:5], "and 3 more, 20.0 s in all"]
    assert in_short([*scans, all_of_it, "an event at 3.000 s"]) == [*scans[:5], "and 5 more, 42.5 s in all"]
    events = [f"an event at {i}.000 s" for i in range(6)]
    assert in_short(events) == [*events[:5], "and 1 more"]
