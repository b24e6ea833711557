"""The window to choose from, and what is said of a place outside it."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from daq.fit.case import evidence_of, options_of
from daq.fit.days import Chance, days
from daq.fit.sign import Stands
from daq.fit.suggested import suggested
from daq.fit.window import WINDOW_MM, cautions_at, window_mm, window_said
from daq.sweep.panel import Entry
from daq.sweep.plan import out_and_back
from daq.sweep.workshop import taught
from daq.values import Verdict
from tests.fit.sweeps import ridden
from tests.keep.again.cases import CASE
from tests.sweep.panels import told

BENT = ridden()
FLAT = ridden(lambda mm: 80.0)
FRONT_MM, REAR_MM = window_mm(BENT, suggested(BENT, None))


def cautions(chosen_mm, sweep=BENT, present_mm=60.0, foretold=None):
    return " ".join(cautions_at(sweep, suggested(sweep, foretold), chosen_mm=chosen_mm, present_mm=present_mm))


def foretold_of(sweep):
    """What the sweep alone says of another day."""
    return days(taught(told([Entry("R", "2026-03-14", sweep.onset.likelihood)])), "s0")


def test_the_window_begins_with_the_suggestion_and_goes_ten_mm_back():
    proposed = suggested(BENT, None)

    assert proposed.setback_mm == FRONT_MM >= BENT.onset.onset_mm + BENT.plan.step_off_mm
    assert REAR_MM - FRONT_MM == 10.0
    assert window_said((FRONT_MM, REAR_MM)) == f"{FRONT_MM:.0f} to {REAR_MM:.0f} mm"
    assert window_said((79.7, 80.0)) == "80 mm"


def test_where_another_day_governs_the_window_is_that_days():
    another = ridden(chance_of="another day")
    proposed = suggested(another, foretold_of(another))

    assert window_mm(another, proposed)[0] == proposed.setback_mm > FRONT_MM
    assert cautions(FRONT_MM, another, foretold=foretold_of(another)) != ""
    assert cautions(proposed.setback_mm, another, foretold=foretold_of(another)) == ""


def test_the_window_ends_where_the_ride_did():
    short = ridden(
        lambda mm: 80.0 + 3.0 * max(49.0 - mm, 0.0), positions=(58.0, 50.0, 40.0, 30.0, 20.0, 25.0, 35.0, 45.0, 54.0)
    )
    front_mm, rear_mm = window_mm(short, suggested(short, None))

    assert (front_mm, rear_mm) == (pytest.approx(54.0, abs=1.0), 58.0)
    assert "65 mm was not ridden" in cautions(65.0, short)


def test_without_a_suggestion_there_is_no_window():
    unsafe = replace(BENT, onset=replace(BENT.onset, suggested_setback_mm=None))

    assert FLAT.onset.verdict is not Verdict.ONSET
    assert window_mm(FLAT, suggested(FLAT, None)) is None
    assert window_mm(unsafe, suggested(unsafe, None)) is None
    assert window_mm(None, None) is None


def test_where_every_place_has_too_large_a_chance_it_is_said_of_the_one_chosen():
    chances = tuple((mm, min(0.12 + 0.02 * (80.0 - mm), 1.0)) for mm in (80.0, 70.0, 60.0, 50.0, 40.0, 30.0))
    unsafe = replace(BENT, onset=replace(BENT.onset, suggested_setback_mm=None, p_loaded_at=chances))

    said = "the chance that the hands carry more today is 32 in 100 at 70 mm: more than the 5 accepted"
    assert said in cautions(70.0, unsafe, present_mm=80.0)
    assert "no onset was found" not in cautions(80.0, unsafe, present_mm=70.0)


@pytest.mark.parametrize("at_mm", [FRONT_MM, FRONT_MM - 0.4, 0.5 * (FRONT_MM + REAR_MM), REAR_MM, REAR_MM + 0.4])
def test_a_choice_inside_the_window_to_the_millimetre_brings_no_caution(at_mm):
    """Nobody is told of 0 mm behind or forward of anything."""
    assert cautions(at_mm) == ""


def test_a_choice_behind_the_window_is_told_why_it_is_no_better():
    why = "behind the window, in which the hands are most likely light already: that is no reason to go further back"
    assert why in cautions(75.0)


def test_a_window_of_today_does_not_forbid_what_another_day_may_ask_for():
    """The plan goes by another day, of which nothing is known yet."""
    by_another_day = cautions(75.0, ridden(chance_of="another day"))

    assert "behind the window: the window is today's, and on another day the onset may lie further" in by_another_day
    assert "no reason to go" not in by_another_day
    known = ridden(chance_of="another day")
    foretold = replace(foretold_of(known), chances=tuple(Chance(mm, 0.0, 0.0) for mm in range(80, 29, -1)))
    assert "no reason to go further back" in cautions(75.0, known, foretold=foretold)


def test_a_choice_forward_of_the_window_says_the_chance_of_loaded_hands_there():
    onset_mm = round(BENT.onset.onset_mm)
    by_today, another = cautions(onset_mm), ridden(chance_of="another day")
    foretold = foretold_of(another)

    (said,) = re.findall(r"forward of the window: the chance that the hands carry more today is (\d+) in 100", by_today)
    assert int(said) == pytest.approx(100 * suggested(BENT, None).chance_at(onset_mm), abs=0.5)
    assert int(said) > 30
    there = 100 * foretold.chances_at(onset_mm + 5.0).another_day
    (said,) = re.findall(
        r"carry more on another day is (\d+) in 100", cautions(onset_mm + 5.0, another, 60.0, foretold)
    )
    assert int(said) == pytest.approx(there, abs=3.0)
    assert "over 99 in 100" in cautions(40.0)
    assert re.search(r"carry more today is over 99 in 100\b.*25 mm was not ridden", cautions(25.0))


def test_beyond_the_foremost_place_the_chance_is_at_least_the_one_there():
    chances = ((80.0, 0.01), (30.0, 0.6))
    wide = replace(BENT, onset=replace(BENT.onset, suggested_setback_mm=76.0, p_loaded_at=chances))

    assert "is at least 60 in 100" in cautions(27.0, wide)


def test_a_small_chance_has_a_decimal_so_that_it_does_not_read_like_the_accepted_one():
    chances = ((80.0, 0.01), (70.0, 0.053), (30.0, 0.6))
    wide = replace(BENT, onset=replace(BENT.onset, suggested_setback_mm=71.0, p_loaded_at=chances))

    assert "is 5.3 in 100" in cautions(70.0, wide)


def test_within_the_step_off_it_is_that_which_speaks_against_a_place():
    sharp = ridden(lambda mm: 80.0 + 8.0 * max(55.0 - mm, 0.0))
    proposed = suggested(sharp, None)
    front_mm, _ = window_mm(sharp, proposed)

    assert proposed.chance_at(front_mm - 1.0) < 0.05
    assert "1 mm forward of the window: it is nearer to the onset than the 4 mm" in cautions(front_mm - 1.0, sharp)


def test_what_only_rounding_keeps_out_of_the_window_brings_no_caution():
    nearly = replace(BENT, onset=replace(BENT.onset, onset_mm=50.0, suggested_setback_mm=60.1))

    assert window_mm(nearly, suggested(nearly, None))[0] == 61.0
    assert cautions(60.3, nearly) == ""


def test_a_place_is_told_with_one_decimal_at_most():
    assert cautions(77.00741).startswith("77 mm lies")
    assert cautions(77.26).startswith("77.3 mm lies")
    assert "90.1 mm was not ridden" in cautions(90.07413)


def test_the_evidence_the_options_and_the_signs_go_by_one_window():
    evidence = evidence_of(CASE)
    told = {one.place.setback_mm: one.cautions for one in options_of(CASE, evidence)}
    (hands,) = [sign for sign in evidence.signs if sign.title == "Hands too light"]

    assert evidence.window_mm == (FRONT_MM, REAR_MM)
    assert told[evidence.chosen_mm] == evidence.cautions != ()
    assert not any(told[mm] for mm in range(int(FRONT_MM), int(REAR_MM) + 1))
    assert "forward of the window" in told[FRONT_MM - 1.0][0]
    assert (evidence.present_mm, hands.stands) == (78.0, Stands.FOR)


def test_going_back_without_an_onset_is_warned_of():
    assert "no reason to go back" in cautions(70.0, FLAT)
    assert cautions(50.0, FLAT) == ""


def test_a_saddle_scored_worse_at_the_rear_is_said():
    positions = ridden().plan.positions_mm
    notes = {i: {"saddle": 6.0 if mm > 60 else 2.0} for i, mm in enumerate(positions)}

    assert "worse at the rear" in cautions(58.0, ridden(notes=notes))
    assert "worse at the rear" not in cautions(58.0, ridden(notes={i: {"saddle": 3.0} for i in range(11)}))


def test_a_choice_outside_what_was_ridden_is_to_be_ridden_first():
    rear, front = max(ridden().plan.positions_mm), min(ridden().plan.positions_mm)

    assert "was not ridden" in cautions(rear + 5.0)
    assert "was not ridden" in cautions(front - 5.0)
    assert "was not ridden" not in cautions(rear)


def test_a_rear_end_that_a_sensor_read_is_ridden_to_the_millimetre():
    steps = tuple(replace(one, setback_mm=min(one.setback_mm, 79.7)) for one in BENT.steps)

    assert "was not ridden" not in cautions(80.0, replace(BENT, steps=steps))


def test_hands_that_carry_weight_all_through_may_get_lighter_further_back_at_the_saddles_cost():
    loaded = ridden(lambda mm: 200.0 + 1.5 * (80.0 - mm))
    assert loaded.onset.verdict is Verdict.LOADED

    said = cautions(80.0, loaded)

    assert "may lighten the hands" in said
    assert "saddle comfort" in said
    assert "no reason to go back" not in said


@settings(max_examples=40, deadline=None)
@given(
    rear_mm=st.floats(45.0, 110.0),
    over_mm=st.floats(35.0, 60.0),
    bend_at=st.floats(0.2, 0.8),
    rise=st.floats(0.5, 4.0),
    sd_n=st.floats(0.1, 3.0),
    seed=st.integers(0, 2**32 - 1),
    chance_of=st.sampled_from(["today", "another day"]),
    step_off_mm=st.sampled_from([0.0, 4.0, 15.0]),
    known=st.booleans(),
)
def test_the_suggestion_is_in_the_window_and_the_window_in_what_was_ridden(
    rear_mm, over_mm, bend_at, rise, sd_n, seed, chance_of, step_off_mm, known
):
    """A rise anywhere in the middle of any range, at places that are no whole millimetres."""
    bend_mm, rng = rear_mm - bend_at * over_mm, np.random.default_rng(seed)
    positions = tuple(out_and_back(rear_mm, rear_mm - over_mm, 11))
    sweep = ridden(
        lambda mm: 80.0 + rise * max(bend_mm - mm, 0.0) + rng.normal(0.0, sd_n),
        positions=positions,
        chance_of=chance_of,
        step_off_mm=step_off_mm,
    )
    assume(sweep.onset.verdict is Verdict.ONSET)
    foretold = foretold_of(sweep) if known else None
    ridden_mm = [step.setback_mm for step in sweep.steps]
    proposed = suggested(sweep, foretold)
    window = window_mm(sweep, proposed)

    assert (window is None) == (proposed.setback_mm is None)
    if window is None:
        assert min(chance for _, chance in proposed.chances) > sweep.plan.loaded_chance
        return
    front_mm, rear_mm = window
    assert front_mm == proposed.setback_mm
    assert min(ridden_mm) <= front_mm <= rear_mm <= max(ridden_mm)
    assert rear_mm - front_mm <= WINDOW_MM
    assert proposed.chance_at(front_mm) <= sweep.plan.loaded_chance
    for mm in (front_mm, 0.5 * (front_mm + rear_mm), rear_mm):
        assert cautions(mm, sweep, foretold=foretold) == ""
    for mm in (front_mm - 3.0, rear_mm + 3.0):
        assert cautions(mm, sweep, foretold=foretold) != ""
