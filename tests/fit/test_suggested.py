"""The suggested setback, by today's chance or another day's, and its meaning in a sentence."""

from dataclasses import replace

import pytest

from daq.fit.case import evidence_of
from daq.fit.days import Chance, days
from daq.fit.suggested import suggested
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
    assert found.setback_mm == TODAY.onset.suggested_setback_mm
    assert found.said == (
        "Going by today's ride, the chance that your hands already carry more of you at "
        f"{found.setback_mm:.0f} mm is at most 5 in 100."
    )


def test_another_days_chance_is_that_of_all_tests_at_the_foremost_place_that_it_allows():
    found = suggested(ANOTHER, FORETOLD)
    allowed = [one.setback_mm for one in FORETOLD.chances if one.another_day <= 0.05]

    assert found.setback_mm == min(allowed) > TODAY.onset.suggested_setback_mm + 2.0
    assert FORETOLD.chances_at(found.setback_mm - 1.0).another_day > 0.05
    assert f"at {found.setback_mm:.0f} mm on another day is at most 5 in 100" in found.said


def test_the_accepted_chance_is_a_setting():
    strict, lax = (suggested(ridden(chance_of="another day", loaded_chance=chance), FORETOLD) for chance in (0.02, 0.2))

    assert strict.setback_mm > suggested(ANOTHER, FORETOLD).setback_mm > lax.setback_mm
    assert "at most 2 in 100" in strict.said


def test_another_day_never_brings_the_saddle_nearer_than_the_step_off_nor_beyond_what_was_ridden():
    everywhere = replace(FORETOLD, chances=tuple(replace(one, another_day=0.0) for one in FORETOLD.chances))
    short = replace(everywhere, chances=(Chance(ONSET_MM + 2.0, 0.0, 0.0),))

    assert suggested(ANOTHER, everywhere).setback_mm == pytest.approx(ONSET_MM + 4.0, abs=1.0)
    assert suggested(ANOTHER, everywhere).setback_mm >= ONSET_MM + 4.0
    assert suggested(ANOTHER, short).setback_mm == ONSET_MM + 2.0


def test_where_the_rearmost_place_is_not_safe_on_another_day_none_is_suggested():
    nowhere = replace(FORETOLD, chances=tuple(Chance(one.setback_mm, one.today, 0.3) for one in FORETOLD.chances))

    found = suggested(ANOTHER, nowhere)

    assert found.setback_mm is None
    assert "the rearmost place ridden" in found.said
    assert "30 in 100, more than 5" in found.said


def test_where_nothing_is_known_of_another_day_todays_chance_has_to_do_and_that_is_said():
    found = suggested(ANOTHER, None)

    assert found.setback_mm == TODAY.onset.suggested_setback_mm
    assert found.said.startswith("Nothing can be said of another day yet. Going by today's ride")


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

    assert by_today.chosen_mm == TODAY.onset.suggested_setback_mm
    assert by_another.chosen_mm == suggested(ANOTHER, FORETOLD).setback_mm
    assert by_another.suggested == suggested(ANOTHER, FORETOLD)
