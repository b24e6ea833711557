import pytest

from daq.fit.step_notes import MARK, PAIN, Remarks, content_of, noted, step_spoken_of, tilt_caution
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
    assert step_spoken_of(progress) == 1

    progress.take(Trigger.SADDLE_MOVED, t_s, setback_mm=progress.asked_setback_mm)

    assert step_spoken_of(progress) == 2


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
