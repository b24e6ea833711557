import itertools

import pytest

from daq.fit.decision import Decision, changes_said, stages_mm
from daq.fit.intake import Symptom


def test_a_small_change_is_made_at_once():
    assert stages_mm(60.0, 52.0) == (52.0,)
    assert stages_mm(None, 52.0) == (52.0,)


@pytest.mark.parametrize(("present", "chosen"), [(78.0, 57.0), (40.0, 70.0), (78.0, 67.9)])
def test_a_big_change_is_made_in_equal_stages_that_end_where_it_was_decided(present, chosen):
    stages = stages_mm(present, chosen)
    moves = [abs(b - a) for a, b in itertools.pairwise((present, *stages))]

    assert stages[-1] == chosen
    assert max(moves) <= 6.0
    assert max(moves) - min(moves) <= 1.1


def test_a_decision_needs_a_reason_and_who_decided():
    with pytest.raises(ValueError, match="reason"):
        Decision.model_validate({"setback_mm": 60, "reason": "", "decided_by": "B.", "recheck_on": "2026-12-16"})
    with pytest.raises(ValueError, match="decided_by"):
        Decision.model_validate({"setback_mm": 60, "reason": "light hands", "recheck_on": "2026-12-16"})


def test_the_same_complaints_stand_beside_each_other_then_and_now():
    before = (Symptom(place="hands", side="left", score=6), Symptom(place="neck", score=3))
    after = (Symptom(place="hands", side="left", score=2), Symptom(place="knee front", side="right", score=4))

    assert changes_said(before, after) == (
        "hands, left: 6 to 2",
        "neck, both: 3, not named again",
        "knee front, right: 4, not named before",
    )


def test_a_complaint_that_is_gone_is_told_as_0_where_it_was_asked():
    assert changes_said((Symptom(place="neck", score=3),), (Symptom(place="neck", score=0),)) == ("neck, both: 3 to 0",)
