from dataclasses import replace

import pytest

from daq.refusals import NotNow
from daq.sweep import step_in_progress
from daq.sweep.progress import Notice, SweepProgress
from daq.sweep.run import State, Trigger
from daq.sweep.step import FAULTY
from daq.values import NAN, Setting, Status
from tests.sweep.pedalled import PLAN, STROKE_S, begun, ride, steps_of, stroke


def test_a_position_is_settled_then_averaged_then_the_next_is_asked():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)

    out, _ = ride(progress, 0.0, 40.0)

    assert [step.setback_mm for step in steps_of(out)] == [80.0]
    assert progress.state is State.MOVING
    assert progress.asked_setback_mm == 60.0


def test_nothing_of_the_settling_time_is_averaged():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)

    out, _ = ride(progress, 0.0, 40.0)

    assert steps_of(out)[0].strokes[0].start_s >= PLAN.settle_s


def test_the_dwell_clock_stands_while_the_torque_is_outside_the_band():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 12.0)
    before_s = progress.status(t_s).dwell_left_s

    _, t_s = ride(progress, t_s, 20.0, torque_nm=PLAN.torque_nm + 2.0)

    status = progress.status(t_s)
    assert before_s - status.dwell_left_s <= 2 * STROKE_S
    assert status.in_band is False
    assert "a little less effort" in status.why_waiting


def test_what_is_asked_is_the_plans_power_and_cadence_whatever_is_ridden():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 12.0)
    _, t_s = ride(progress, t_s, 20.0, torque_nm=PLAN.torque_nm - 3.0)

    status = progress.status(t_s)
    assert status.torque_nm == pytest.approx(PLAN.torque_nm - 3.0)
    assert f"bring the power to {PLAN.power_w:.0f} W at {PLAN.cadence_rpm:.0f} rpm" in status.why_waiting


def test_the_right_power_at_too_fast_a_cadence_asks_for_the_cadence():
    """At 94 rpm 200 W is 0.9 N m less than at 90 rpm, outside the band: P = M omega."""
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 12.0)
    for _ in range(12):
        progress.feed(stroke(t_s, torque_nm=PLAN.torque_nm * 90.0 / 94.0, duration_s=60.0 / 94.0))
        t_s += 60.0 / 94.0

    assert progress.status(t_s).why_waiting == "at 94 rpm the push is a little light: bring the cadence to 90"


def test_a_redo_is_accepted_while_the_saddle_moves_only_when_there_is_a_step_to_redo():
    progress = begun()
    assert Trigger.REDO not in progress.status(0.0).accepts
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    ride(progress, 0.0, 60.0)

    assert progress.state is State.MOVING
    assert Trigger.REDO in progress.status(60.0).accepts


def test_unknown_torque_does_not_stop_the_sweep_and_is_not_called_in_band():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)

    out, t_s = ride(progress, 0.0, 40.0, torque_nm=NAN)

    assert len(steps_of(out)) == 1
    assert progress.status(t_s).in_band is None


def test_saturated_strokes_are_left_out_and_counted():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 12.0)
    progress.feed(stroke(t_s, hands_n=900.0, flags=Status.SATURATED))

    out, _ = ride(progress, t_s + STROKE_S, 40.0)

    (step,) = steps_of(out)
    assert [(one.stroke.hands_n, one.why) for one in step.left_out] == [(900.0, FAULTY)]
    assert step.hand_load_n < 90.0


def test_of_a_rider_below_the_effort_all_day_only_the_latest_strokes_are_kept_and_all_are_counted(monkeypatch):
    monkeypatch.setattr(step_in_progress, "MOST_LEFT_OUT", 20)
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 12.0)
    for number in range(50):
        progress.feed(stroke(t_s, hands_n=float(number), torque_nm=PLAN.torque_nm - 5.0))
        t_s += STROKE_S

    (step,) = steps_of(ride(progress, t_s, 40.0)[0])
    kept = [one.stroke.hands_n for one in step.left_out]
    assert kept[:-3] == [float(number) for number in range(33, 50)]  # and three until the effort is held again
    assert len(kept) == 20
    assert step.excluded == 53

    progress.take(Trigger.SADDLE_MOVED, t_s + 40.0, setback_mm=60.0)
    (following,) = steps_of(ride(progress, t_s + 40.0, 40.0)[0])
    assert following.excluded == len(following.left_out)


def test_stopping_to_pedal_mid_step_settles_that_step_again():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 15.0)

    notes = progress.pass_time(t_s + 4.0)

    assert progress.state is State.SETTLING
    assert notes[0].level == "caution"
    assert progress.status(t_s + 4.0).dwell_left_s == PLAN.dwell_s


@pytest.mark.parametrize("ridden_s", [6.0, 14.0], ids=["while it settles", "while it is averaged"])
def test_a_long_stop_is_no_time_in_which_a_rider_has_settled(ridden_s):
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    ride(progress, 0.0, ridden_s)

    out, _ = ride(progress, 60.0, 40.0)

    (step,) = steps_of(out)
    assert step.strokes[0].start_s >= 60.0 + PLAN.settle_s
    assert not [each for each in out if isinstance(each, Notice) and "averaged as it is" in each.text]


@pytest.mark.parametrize(("stop_s", "settled_again"), [(2.8, False), (3.2, True)])
def test_whoever_rests_for_more_than_three_seconds_settles_from_his_return_on(stop_s, settled_again):
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 5.0)

    (step,) = steps_of(ride(progress, t_s + stop_s, 40.0)[0])

    assert (step.strokes[0].start_s >= t_s + stop_s + PLAN.settle_s) == settled_again


def test_a_rest_while_the_saddle_is_moved_is_no_stop_of_the_rider_who_settles():
    """He rests for a minute, the saddle is confirmed, and he pedals from two seconds later on."""
    slow = replace(PLAN, settle_s=20.0)
    progress = SweepProgress(slow)
    progress.take(Trigger.BEGIN, 0.0)
    ride(progress, 0.0, 10.0)
    progress.take(Trigger.SADDLE_MOVED, 70.0, setback_mm=80.0)

    (step,) = steps_of(ride(progress, 72.0, 60.0)[0])

    assert step.strokes[0].start_s == pytest.approx(70.0 + slow.settle_s, abs=STROKE_S)


def test_a_stroke_across_the_confirming_of_the_saddle_is_none_of_the_new_position():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 10.0, setback_mm=80.0)

    progress.feed(stroke(10.0 - STROKE_S / 2))
    across = progress.status(11.0).torque_nm
    progress.feed(stroke(10.0 + STROKE_S / 2))

    assert across is None
    assert progress.status(11.0).torque_nm == PLAN.torque_nm


def test_a_jump_of_the_hands_is_told_once_in_each_step_it_happens_in():
    progress, told = begun(), []
    for setback_mm, t_s in ((80.0, 0.0), (60.0, 100.0)):
        progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=setback_mm)
        before, later_s = ride(progress, t_s, 18.0)
        after, _ = ride(progress, later_s, 30.0, hands_n=110.0)
        assert len(steps_of(before + after)) == 1
        told.append([one.text.split(" by ")[0] for one in before + after if isinstance(one, Notice)])

    assert told == [["hand load jumped"], ["hand load jumped"]]


def test_redo_asks_the_last_position_again_and_drops_its_mean():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 40.0)

    progress.take(Trigger.REDO, t_s)

    assert progress.steps == []
    assert progress.asked_setback_mm == 80.0


def test_a_tilt_read_at_a_step_goes_with_it_when_it_is_ridden_again():
    """Whoever redoes a step has set the saddle right meanwhile; what was confirmed stands."""
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0, setting=Setting(saddle_tilt_deg=-1.0))
    _, t_s = ride(progress, 0.0, 12.0)
    progress.note_tilt(0, -3.0)

    progress.take(Trigger.REDO, t_s)
    out, _ = ride(progress, t_s, 40.0)

    assert [step.setting.saddle_tilt_deg for step in steps_of(out)] == [-1.0]


def test_redo_before_any_step_is_refused_and_changes_nothing():
    progress = begun()

    with pytest.raises(NotNow, match="no step is finished yet"):
        progress.take(Trigger.REDO, 1.0)
    assert progress.state is State.MOVING


def test_undo_takes_a_mistyped_setback_back():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=8.0)

    progress.take(Trigger.UNDO, 1.0)

    assert (progress.state, progress.setback_mm) == (State.MOVING, None)


def test_a_setback_far_from_the_asked_one_is_taken():
    progress = begun()

    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=70.0)

    assert (progress.state, progress.setback_mm) == (State.SETTLING, 70.0)


@pytest.mark.parametrize("setback_mm", [None, 900.0, -300.0, NAN])
def test_an_impossible_setback_is_refused(setback_mm):
    progress = begun()

    with pytest.raises(ValueError, match="setback_mm"):
        progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=setback_mm)
    assert progress.state is State.MOVING


def test_pause_starts_the_position_in_progress_again():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 15.0)
    progress.take(Trigger.PAUSE, t_s)
    ride(progress, t_s, 60.0)
    progress.take(Trigger.RESUME, t_s + 60.0)

    assert progress.state is State.MOVING
    assert progress.asked_setback_mm == 80.0
    assert progress.steps == []


def test_the_last_position_finishes_the_sweep():
    progress = begun()
    t_s = 0.0
    for setback_mm in PLAN.positions_mm:
        progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=setback_mm)
        _, t_s = ride(progress, t_s, 40.0)

    assert progress.state is State.FINISHED
    assert [step.setback_mm for step in progress.steps] == list(PLAN.positions_mm)
    assert progress.status(t_s).seconds_left == 0.0
    assert progress.status(t_s).step == len(PLAN.positions_mm)


def test_a_rider_who_never_sits_still_is_averaged_in_the_end_and_it_is_said():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    out, t_s = [], 0.0
    for i in range(60):
        out += progress.feed(stroke(t_s, hands_n=80.0 + 4.0 * i))
        t_s += STROKE_S

    assert any(isinstance(item, Notice) and "still moves" in item.text for item in out)
    assert progress.state is State.AVERAGING


def test_a_hand_load_that_is_not_known_is_not_told_as_one_that_moves():
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    out, t_s = [], 0.0
    while progress.state is State.SETTLING:
        out += progress.feed(stroke(t_s, hands_n=NAN))
        t_s += STROKE_S

    assert [item.text for item in out] == ["hand load is not known after 30 s; averaged as it is"]


@pytest.mark.parametrize(("rpm", "steps"), [(90.0, 1), (85.1, 1), (84.9, 0), (94.9, 1), (95.1, 0)])
def test_only_strokes_at_the_cadence_of_the_plan_are_averaged(rpm, steps):
    """The plan holds 90 rpm within 5, whatever the torque is."""
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)

    out, t_s = [], 0.0
    while t_s < 40.0:
        out += progress.feed(stroke(t_s, duration_s=60.0 / rpm))
        t_s += 60.0 / rpm

    assert PLAN.cadence_band_rpm == 5.0
    assert len(steps_of(out)) == steps
