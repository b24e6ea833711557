import pytest

from daq.fit.step_notes import MARK, PAIN, SADDLE_TILT, Remarks, by_place, content_of, noted, tilt_caution
from daq.items import Event
from daq.sweep.run import Trigger
from tests.sweep.pedalled import begun, ride


def riding(steps):
    """A sweep with some finished steps, the saddle just moved to the next position."""
    progress = begun()
    t_s = 0.0
    for _ in range(steps):
        progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=progress.asked_setback_mm)
        _, t_s = ride(progress, t_s, 40.0)
    return progress, t_s


def test_between_steps_the_rider_speaks_of_the_one_just_finished():
    progress, t_s = riding(2)
    assert progress.spoken_of == 1

    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=progress.asked_setback_mm)

    assert progress.spoken_of == 2


def left_out_then_finished():
    """The first step is left out as ridden, the second, at 60 mm, is finished; the third is settling."""
    progress = begun()
    progress.take(Trigger.SADDLE_MOVED, 0.0, setback_mm=80.0)
    _, t_s = ride(progress, 0.0, 14.0)
    progress.take_as_ridden(Trigger.SADDLE_MOVED, t_s, setback_mm=60.0)
    _, t_s = ride(progress, t_s, 40.0)
    between = progress.spoken_of
    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=40.0)
    return progress, between, t_s


def test_after_a_step_that_was_left_out_a_remark_still_belongs_to_the_step_being_ridden():
    progress, between, t_s = left_out_then_finished()
    finished = progress.steps[0].setting

    content = content_of(progress, SADDLE_TILT, 2.0)
    changes_a_finished_step = progress.note_tilt(content["step"], content["value"])
    ride(progress, t_s, 40.0)

    assert (progress.left_out, between, content["step"]) == ([0], 1, 2)
    assert not changes_a_finished_step
    assert repr(progress.steps[0].setting) == repr(finished)
    assert [(step.setback_mm, step.setting.saddle_tilt_deg) for step in progress.steps[1:]] == [(40.0, 2.0)]


def test_notes_are_shown_at_the_step_they_were_made_of_and_those_of_a_step_left_out_nowhere():
    progress, _, _ = left_out_then_finished()
    notes = {0: {"hands": 1.0}, 1: {"hands": 2.0}, progress.spoken_of: {"hands": 3.0}}

    assert by_place(notes, progress) == {0: {"hands": 2.0}, 1: {"hands": 3.0}}


@pytest.mark.parametrize(("what", "value"), [("hands", 11), ("hands", -1), ("mood", 3), ("saddle_tilt_deg", 40)])
def test_what_is_not_asked_or_cannot_be_is_refused(what, value):
    progress, _ = riding(1)

    with pytest.raises(ValueError, match=r"expected"):
        content_of(progress, what, value)


def test_the_latest_score_of_a_step_counts():
    notes = noted(noted({}, {"step": 0, "what": "hands", "value": 3}), {"step": 0, "what": "hands", "value": 5})

    assert notes == {0: {"hands": 5.0}}


def test_scores_of_a_step_ridden_again_are_asked_again():
    said = Remarks({0: {"hands": 3.0}, 1: {"hands": 4.0}}, ("hands moved",))

    assert said.after_fitter(Trigger.REDO, 1) == Remarks({0: {"hands": 3.0}}, ("hands moved",))
    assert said.after_fitter(Trigger.PAUSE, 1) == said


def test_a_saddle_that_tips_by_more_than_half_a_degree_is_told():
    level = {0: {"saddle_tilt_deg": -1.0}, 1: {"saddle_tilt_deg": -1.4}}

    assert tilt_caution(level) == ""
    assert "-1.6" in tilt_caution({**level, 2: {"saddle_tilt_deg": -1.6}})


def test_what_the_rider_said_of_a_pain_is_kept_with_the_setback():
    said = {"place": "knee front", "side": "right", "score": 5, "red": None}
    first = Event(0, MARK, {"text": PAIN, "setback_mm": 45.0})
    told = Event(1, MARK, {"text": PAIN, "setback_mm": 45.0, **said})
    over = Event(2, MARK, {"text": PAIN, "setback_mm": None, **said, "red": "dizziness"})
    remarks = Remarks().after(first).after(told).after(over)

    assert [one.said for one in remarks.pains] == [
        "knee front, right, 5 of 10, at 45 mm",
        "knee front, right, 5 of 10; dizziness",
    ]
    assert remarks.over == "dizziness"
