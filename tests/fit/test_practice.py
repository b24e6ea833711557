from dataclasses import replace

import pytest

from daq.fit.practice import Moment, Practised, broken, truth_said
from daq.sweep.onset import onset
from tests.sweep.rides import hinge, ride

FOUND = onset(ride(hinge(55.0), noise_n=1.0, se_n=1.0))
WELL = Practised(
    onset_mm=FOUND.onset_mm,
    wrong=(),
    moments=(
        Moment(0.0, "asked"),
        Moment(9.0, "moved", "80 mm"),
        Moment(50.0, "asked"),
        Moment(60.0, "moved", "70 mm"),
    ),
    overridden={},
    answer=FOUND,
    decided_mm=FOUND.onset_mm + 4.0,
)


def test_a_procedure_that_held_has_nothing_to_be_told():
    assert broken(WELL) == []
    assert "it holds the truth" in truth_said(WELL)[-1]


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"moments": (Moment(0.0, "asked"), Moment(1.0, "moved", "80 mm"))}, "after 1 s: moved and measured?"),
        ({"moments": (Moment(0.0, "caution", "hand load jumped"), Moment(9.0, "moved"))}, "hand load jumped"),
        ({"overridden": {"Zero": "no time"}}, "gone on without zero: no time"),
        ({"decided_mm": None}, "no setback was decided"),
        ({"decided_mm": FOUND.onset_mm - 6.0}, "6 mm forward of the onset"),
        ({"decided_mm": FOUND.onset_mm + 30.0}, "no target for going back"),
        ({"onset_mm": None}, "a rider who has none"),
    ],
)
def test_where_it_broke_is_said(change, word):
    (said,) = broken(replace(WELL, **change))

    assert word in said


def test_saddles_moved_in_no_time_are_told_in_one_sentence():
    moments = [
        Moment(20.0 * i + more_s, what, f"{80 - 10 * i} mm")
        for i in range(5)
        for more_s, what in ((0.0, "asked"), (1.0 + i % 2, "moved"))
    ]
    (said,) = broken(replace(WELL, moments=tuple(moments)))

    assert said == "the saddle was said to stand at 5 positions, first 80 mm, after 2 s at most: moved and measured?"


def test_a_warning_that_was_heeded_is_none_that_was_passed_over():
    moments = (Moment(0.0, "caution", "hand load jumped"), Moment(4.0, "redo"), Moment(9.0, "moved"))

    assert broken(replace(WELL, moments=moments)) == []


@pytest.mark.parametrize(("then", "passed_over"), [("undo", 0), ("moved", 1)])
def test_what_a_move_gives_rise_to_can_still_be_heeded(then, passed_over):
    """The caution comes with the time of the event that it is about, whichever was told first."""
    moments = (Moment(9.0, "caution", "45 mm is taken as set"), Moment(9.0, "moved"), Moment(20.0, then))

    assert len(broken(replace(WELL, moments=moments))) == passed_over


def test_one_warning_many_times_is_told_once():
    moments = [
        Moment(20.0 * i + more_s, what, text)
        for i in range(4)
        for more_s, what, text in ((0.0, "caution", f"pulled up by {30 + i}.5 N"), (9.0, "moved", ""))
    ]
    (said,) = broken(replace(WELL, moments=tuple(moments)))

    assert said == "a warning was passed over 4 times, last: pulled up by 33.5 N"


def test_an_answer_that_misses_the_truth_is_called_so():
    assert "DOES NOT HOLD" in truth_said(replace(WELL, onset_mm=FOUND.interval_95_mm[1] + 1.0))[-1]
    assert truth_said(replace(WELL, answer=None))[-1].startswith("the sweep came to no answer")
    assert "no setback was named" in truth_said(replace(WELL, answer=replace(FOUND, onset_mm=None)))[-1]
