"""The suggested setback, by today's chance or another day's, and its meaning in a sentence."""

import math
from dataclasses import replace

import pytest

from daq.fit.case import evidence_of
from daq.fit.days import Chance, days
from daq.fit.suggested import suggested
from daq.sweep.onset import onset
from daq.sweep.plan import Plan
from daq.sweep.workshop import taught
from tests.fit.sweeps import ridden
from tests.keep.again.cases import CASE
from tests.sweep.panels import one_rider

TODAY, ANOTHER = ridden(), ridden(chance_of="another day")
ONSET_MM = TODAY.onset.onset_mm
FORETOLD = days(taught(one_rider(ONSET_MM)), "s0")


def test_todays_chance_governs_unless_asked_otherwise():
    found = suggested(TODAY, FORETOLD)

    assert Plan((80, 70, 60, 50, 40)).chance_of == "today"
    assert found.setback_mm == math.ceil(TODAY.onset.suggested_setback_mm)
    assert found.said == (
        "Going by today's ride, the chance that your hands already carry more of you at "
        f"{found.setback_mm:.0f} mm is at most 5 in 100."
    )


def test_another_days_chance_is_that_of_all_tests_at_the_foremost_place_that_it_allows():
    found = suggested(ANOTHER, FORETOLD)
    allowed = [one.setback_mm for one in FORETOLD.chances if one.another_day <= 0.05]

    assert found.setback_mm == pytest.approx(min(allowed), abs=1.0)
    assert found.setback_mm == round(found.setback_mm) > TODAY.onset.suggested_setback_mm + 2.0
    assert found.chance_at(found.setback_mm) <= 0.05 < found.chance_at(found.setback_mm - 1.0)
    assert FORETOLD.chances_at(found.setback_mm - 1.0).another_day > 0.05
    assert f"at {found.setback_mm:.0f} mm on another day is at most 5 in 100" in found.said


@pytest.mark.parametrize(("computed_mm", "put_mm"), [(56.1, 57.0), (56.9, 57.0), (57.0, 57.0), (79.4, 79.7)])
def test_a_place_is_a_whole_millimetre_rounded_back_as_far_as_it_was_ridden(computed_mm, put_mm):
    """At 56 mm the chance would be larger than the sentence says."""
    steps = tuple(replace(one, setback_mm=min(one.setback_mm, 79.7)) for one in TODAY.steps)
    sweep = replace(TODAY, steps=steps, onset=replace(TODAY.onset, suggested_setback_mm=computed_mm))

    found = suggested(sweep, None)

    assert found.setback_mm == put_mm
    assert f"at {put_mm:.0f} mm" in found.said


def test_the_place_is_read_off_the_curve_that_is_shown():
    """Between its points a sharp curve is shown higher than it is: the page must not contradict the sentence."""
    coarse = ((80.0, 0.0), (60.0, 0.1), (30.0, 1.0))
    sharp = replace(TODAY, onset=replace(TODAY.onset, suggested_setback_mm=65.2, p_loaded_at=coarse))
    unsafe = replace(sharp, onset=replace(sharp.onset, p_loaded_at=tuple((mm, p + 0.06) for mm, p in coarse)))

    assert (suggested(sharp, None).setback_mm, suggested(sharp, None).chance_at(70.0)) == (70.0, pytest.approx(0.05))
    assert suggested(unsafe, None).setback_mm is None


def test_the_chance_that_governs_is_known_over_the_places_ridden_and_nowhere_else():
    by_today, by_another = suggested(TODAY, FORETOLD), suggested(ANOTHER, FORETOLD)

    assert (by_today.chance_of, by_another.chance_of) == ("today", "another day")
    assert by_today.chance_at(ONSET_MM) == pytest.approx(0.5, abs=0.1)
    for mm in (ONSET_MM, ONSET_MM + 8.0):
        assert by_another.chance_at(mm) == pytest.approx(FORETOLD.chances_at(mm).another_day, abs=0.03)
    assert by_today.chance_at(80.5) is by_today.chance_at(29.5) is by_another.chance_at(99.0) is None


def test_the_accepted_chance_is_a_setting():
    strict, lax = (suggested(ridden(chance_of="another day", loaded_chance=chance), FORETOLD) for chance in (0.02, 0.2))

    assert strict.setback_mm > suggested(ANOTHER, FORETOLD).setback_mm > lax.setback_mm
    assert "at most 2 in 100" in strict.said


def test_another_day_never_brings_the_saddle_nearer_than_the_step_off_nor_beyond_what_was_ridden():
    everywhere = replace(FORETOLD, chances=tuple(replace(one, another_day=0.0) for one in FORETOLD.chances))
    short = replace(everywhere, chances=(Chance(ONSET_MM + 2.0, 0.0, 0.0),))

    assert suggested(ANOTHER, everywhere).setback_mm == math.ceil(ONSET_MM + 4.0)
    assert suggested(ANOTHER, short).setback_mm == ONSET_MM + 2.0


def test_where_the_rearmost_place_is_not_safe_on_another_day_none_is_suggested():
    nowhere = replace(FORETOLD, chances=tuple(Chance(one.setback_mm, one.today, 0.3) for one in FORETOLD.chances))

    found = suggested(ANOTHER, nowhere)

    assert found.setback_mm is None
    assert "the rearmost place ridden" in found.said
    assert "30 in 100, more than 5" in found.said


def test_where_nothing_is_known_of_another_day_todays_chance_has_to_do_and_that_is_said():
    found = suggested(ANOTHER, None)

    assert (found.setback_mm, found.chance_of) == (math.ceil(TODAY.onset.suggested_setback_mm), "today")
    assert found.said.startswith("Nothing can be said of another day yet. Going by today's ride")


def test_an_earlier_methods_answer_claims_no_chance():
    """Before hinge-posterior/3 none was computed: the suggestion is the onset and the step-off."""
    sweep = replace(TODAY, onset=onset(TODAY.steps, method="hinge-posterior/2"))

    found = suggested(sweep, None)

    assert found.setback_mm == math.ceil(sweep.onset.onset_mm + 4.0)
    assert found.chances == ()
    assert found.said.endswith("the chance that they already do there was not computed.")
    assert "at most" not in found.said


def test_no_place_means_why_and_no_onset_means_nothing():
    unsafe = replace(TODAY, onset=replace(TODAY.onset, suggested_setback_mm=None))

    assert suggested(unsafe, FORETOLD).setback_mm is None
    assert "even at the rearmost place ridden today" in suggested(unsafe, FORETOLD).said
    assert suggested(ridden(lambda mm: 80.0), FORETOLD) is None
    assert suggested(None, FORETOLD) is None


def test_the_decision_starts_from_the_setback_of_the_chance_that_governs():
    undecided = replace(CASE, decision=None)
    by_today, by_another = (
        evidence_of(replace(undecided, sweeps=(one,)), foretold=FORETOLD) for one in (TODAY, ANOTHER)
    )

    assert by_today.chosen_mm == math.ceil(TODAY.onset.suggested_setback_mm)
    assert by_another.chosen_mm == suggested(ANOTHER, FORETOLD).setback_mm
    assert by_another.suggested == suggested(ANOTHER, FORETOLD)
