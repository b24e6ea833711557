import pytest

from daq.fit.outcome import NO_REPEATS_CAUTION, ONE_WAY_CAUTION, outcome
from daq.fit.sketch import Sketch
from daq.sweep.information import Sway
from daq.sweep.plan import Plan


def sketch(**fields):
    return Sketch(**{"rear_mm": 80.0, "front_mm": 30.0, "apart_mm": 5.0, **fields})


def test_the_default_plan_rides_the_middle_and_the_first_place_twice():
    positions = outcome(sketch()).positions_mm

    twice = sorted({mm for mm in positions if positions.count(mm) > 1})
    assert twice == [55.0, 80.0]
    assert positions[-1] == positions[0] == 80.0
    assert Plan(positions)


def test_a_plan_without_repeats_and_a_one_way_plan_say_what_they_cannot_tell():
    assert outcome(sketch()).cautions == ()
    assert outcome(sketch(repeat_first=False, repeat_middle=False)).cautions == (NO_REPEATS_CAUTION,)
    assert ONE_WAY_CAUTION in outcome(sketch(order="one way")).cautions


def test_a_plan_that_names_no_onset_promises_no_width():
    assert outcome(sketch(order="one way")).widths == ()


def test_the_best_plan_says_of_itself_what_the_plan_taken_over_says():
    best = outcome(sketch(minutes=15.0)).best
    taken = outcome(sketch(apart_mm=best.apart_mm, order=best.order, dwell_s=best.dwell_s))

    assert f"a rise of {taken.smallest_n_per_mm:.2f} N/mm" in best.sentence
    assert taken.best.sentence.startswith("best for 15 minutes:")


def test_an_adaptive_plan_gives_its_range_and_leaves_the_repeats_to_itself():
    found = outcome(sketch(order="adaptive"))

    assert found.at_most
    assert len(set(found.positions_mm)) == len(found.positions_mm)


def test_a_rider_who_scatters_more_is_told_wider_intervals_and_whose_scatter_it_is():
    steady, wild = outcome(sketch(), Sway(3.0, 4.0, 0.5)), outcome(sketch(), Sway(8.0, 4.0, 3.0))

    assert "this rider's own" in wild.scatter
    assert "8.0 N" in wild.scatter
    assert wild.widths[2].width_mm is None
    assert steady.widths[2].width_mm < 15.0
    assert wild.smallest_n_per_mm > 2.0 * steady.smallest_n_per_mm


def test_a_range_that_cannot_be_ridden_is_refused():
    with pytest.raises(ValueError, match="apart_mm"):
        outcome(sketch(apart_mm=40.0))
