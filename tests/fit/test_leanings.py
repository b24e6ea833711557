"""What speaks for either way, the client's own complaint first."""

import dataclasses

from daq.fit.case import evidence_of
from daq.fit.intake import Feel, Symptom
from daq.fit.leanings import Way
from tests.fit.sweeps import INTAKE, ridden
from tests.keep.again.cases import CASE


def evidence(**intake):
    sweeps = (ridden(start_setback_mm=78.0, start_height_mm=722.0),)
    return evidence_of(dataclasses.replace(CASE, intake=INTAKE.model_copy(update=intake), sweeps=sweeps))


def ways(**intake):
    return [(one.way, one.title) for one in evidence(**intake).leanings]


def test_the_greatest_complaint_leads_and_what_was_measured_follows():
    symptoms = (Symptom(place="neck", score=4), Symptom(place="hamstring", side="both", score=7))
    found = evidence(symptoms=symptoms, feel=Feel(quadriceps=6)).leanings

    assert [(one.way, one.title, one.number) for one in found[:3]] == [
        (Way.FORWARD, "Hamstring, both sides", "complaint, 7 of 10"),
        (Way.BACK, "Neck, both sides", "complaint, 4 of 10"),
        (Way.BACK, "Tired quadriceps", "complaint, 6 of 10"),
    ]
    assert not found[-1].complaint


def test_signs_of_too_far_forward_are_heard_like_those_of_too_far_back():
    hands = Symptom(place="little finger side", side="left", score=6)
    forward = evidence(symptoms=(hands,), saddle=INTAKE.saddle.model_copy(update={"setback_mm": 35.0}))

    assert [(one.way, one.complaint) for one in forward.leanings] == [(Way.BACK, True), (Way.BACK, False)]
    assert forward.leanings[1].title == "Hands already carry more"
    assert "onset" in forward.leanings[1].number
    assert (Way.FORWARD, "Hands as light further forward") in ways()


def test_a_small_complaint_and_one_that_points_nowhere_say_nothing():
    assert ways(symptoms=(Symptom(place="hands", score=2), Symptom(place="perineum", score=8))) == ways()


def test_what_was_not_asked_or_ridden_is_named_with_its_cure():
    found = {one.what: one.cure for one in evidence(bicycle=None, feel=Feel(quadriceps=1)).not_seen}

    assert found["a climb"] == "ride"
    assert found["front-wheel share of the own bicycle"] == "enter"
    assert found["tired hamstrings and calves"] == "ask"
    assert "tired quadriceps" not in found
