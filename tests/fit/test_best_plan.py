"""The plan that tells most in the minutes there are. Its bound is checked in test_expectation.py; that it names more
onsets than others of the same length is simulated here. Riders of tests/benchmarks/onset_rides.py, step values with
independent errors.
"""

from dataclasses import replace

import pytest

from daq.fit.best_plan import DWELLS_S, ENOUGH_PLACES, best_plan
from daq.fit.sketch import Sketch, positions_of
from daq.sweep.information import Sway
from daq.sweep.onset import onset
from daq.sweep.plan import Plan
from daq.values import Verdict
from tests.benchmarks.onset_rides import StepWorld, step_sweep

SKETCH = Sketch(rear_mm=80.0, front_mm=30.0, apart_mm=5.0)
MINUTES = (6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 60.0)


def takes_min(plan, settle_s=6.0):
    return len(plan.positions_mm) * (20.0 + settle_s + plan.dwell_s) / 60.0


@pytest.mark.parametrize("minutes", MINUTES)
def test_it_fills_the_minutes_and_rides_the_first_place_again(minutes):
    found = best_plan(SKETCH, minutes, Sway())

    left_s = 60.0 * (minutes - takes_min(found))
    assert 0.0 <= left_s < 5.0 * len(found.positions_mm) or found.dwell_s == DWELLS_S[1]
    assert found.positions_mm[-1] == found.positions_mm[0]
    assert len(set(found.positions_mm)) < len(found.positions_mm)
    assert found.sentence.startswith(f"best for {minutes:.0f} minutes: {len(set(found.positions_mm))} places")


@pytest.mark.parametrize("minutes", MINUTES)
def test_a_form_that_takes_it_over_gives_the_same_positions(minutes):
    found = best_plan(SKETCH, minutes, Sway())
    taken = SKETCH.model_copy(update={"apart_mm": found.apart_mm, "order": found.order, "dwell_s": found.dwell_s})

    assert positions_of(taken) == found.positions_mm
    assert all(mm == round(mm) for mm in found.positions_mm), "places that a scale on the jig has"


def test_the_usual_plan_rides_the_middle_again_too():
    found = best_plan(SKETCH, 15.0, Sway())

    assert sorted(mm for mm in set(found.positions_mm) if found.positions_mm.count(mm) > 1) == [55.0, 80.0]


def test_too_few_minutes_have_no_plan():
    found = best_plan(SKETCH, 3.0, Sway())

    assert found.sentence == "3 minutes are too few for a sweep"
    assert found.positions_mm == ()


def test_a_range_too_short_for_the_closest_places_is_not_called_too_little_time():
    short = Sketch(rear_mm=54.0, front_mm=48.0, apart_mm=1.0)

    assert best_plan(short, 15.0, Sway()).sentence == "the range is too short for 5 places 2 mm apart"


def test_no_plan_has_more_positions_than_a_sweep_may():
    """59 places 2 mm apart, a sham and two places again would be 62."""
    wide = Sketch(rear_mm=146.0, front_mm=30.0, apart_mm=5.0, sham=True)

    assert Plan(best_plan(wide, 120.0, Sway(6.0, 4.0, 20.0)).positions_mm)


def test_a_range_too_long_for_the_closest_places_has_wider_spacings_instead():
    """118 mm is the longest range that holds no more than 60 places 2 mm apart."""
    for range_mm in (118.0, 120.0, 200.0):
        long = Sketch(rear_mm=30.0 + range_mm, front_mm=30.0, apart_mm=10.0)

        assert Plan(best_plan(long, 30.0, Sway()).positions_mm)


def test_positions_are_recorded_longer_until_visits_scatter_more_than_strokes():
    still, scattered = (best_plan(SKETCH, 20.0, Sway(between_n=between_n)) for between_n in (0.0, 3.0))

    assert still.dwell_s > scattered.dwell_s
    assert len(set(still.positions_mm)) < len(set(scattered.positions_mm))


@pytest.mark.parametrize(("order", "kept"), [("shuffled", "shuffled"), ("one way", "out and back")])
def test_an_order_that_may_name_an_onset_is_kept_unless_another_tells_clearly_more(order, kept):
    assert best_plan(SKETCH.model_copy(update={"order": order}), 15.0, Sway()).order == kept


def test_another_order_is_taken_where_it_tells_clearly_more(monkeypatch):
    def bound_n(tried, _):
        return 1.0 if tried.order == "shuffled" else 1.2

    monkeypatch.setattr("daq.fit.best_plan.bound_n", bound_n)

    assert best_plan(SKETCH, 15.0, Sway()).order == "shuffled"


def test_the_plan_has_places_enough_where_the_minutes_allow():
    assert len(set(best_plan(SKETCH, 10.0, Sway(3.0, 4.0, 0.3)).positions_mm)) >= ENOUGH_PLACES
    assert 5 <= len(set(best_plan(SKETCH, 6.0, Sway()).positions_mm)) < ENOUGH_PLACES


@pytest.mark.study
def test_it_names_more_onsets_than_few_places_recorded_for_long():
    """100 sweeps of 10 minutes each, 1.0 N/mm: shares of 0.5 and 0.8 scatter by 5 and 4 points."""
    plan = best_plan(SKETCH, 10.0, Sway())
    world = StepWorld("best", added=1.0, n=len(plan.positions_mm), sigma=Sway().step_sd_n(plan.dwell_s))
    few = replace(world, n=6, sigma=Sway().step_sd_n(600.0 / 6 - 26.0))

    named, of_few = (
        sum(onset(step_sweep(one, number)[1]).verdict is Verdict.ONSET for number in range(100)) for one in (world, few)
    )

    assert named > of_few + 15
