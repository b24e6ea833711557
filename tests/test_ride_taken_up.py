"""What changes a ride besides its data: another rider, a step undone, a part that is lost."""

import dataclasses

import numpy as np
import pytest

from daq import ride as loop
from daq.items import FITTER, SEATED, Event, lost
from daq.refusals import NotNow
from daq.ride import Ride
from daq.sweep.progress import Notice
from daq.values import Onset, Result, Samples, StepMean, Stroke, Validity
from tests.bits import bits
from tests.ridden import CALIBRATION, HELLO, RATE_HZ, RIG, fed, kept, ridden, scans, with_one_more_position


def test_the_feet_of_a_lighter_rider_are_reckoned_with_the_lighter_mass():
    """75 kg carry 75 x 9.80665 N on hands, saddle and feet; after an exchange of riders 60 kg carry 60 x 9.80665 N."""
    rng = np.random.default_rng(1)
    ride = Ride(RIG, CALIBRATION, mass_kg=75.0)
    before, _ = fed([HELLO, scans(0, 3 * RATE_HZ, rng=rng)], ride)
    after, _ = fed([Event(3_100_000, SEATED, {"mass_kg": 60.0}), scans(3 * RATE_HZ, 3 * RATE_HZ, rng=rng)], ride)

    for outputs, mass_kg in ((before, 75.0), (after, 60.0)):
        for stroke in kept(outputs, Stroke):
            together_n = stroke.hands_n + stroke.saddle_n + stroke.feet_n
            assert together_n == pytest.approx(mass_kg * 9.80665, abs=0.01)  # the tilt is 0.03 degrees
    assert ride.pipeline.mass_kg == 60.0


def test_a_redo_below_five_positions_takes_the_answer_back_until_the_next_step():
    items = with_one_more_position()
    _, ride = fed(items)
    answer, at_us = ride.onset, items[-1].received_us

    ride.feed(Event(at_us + 1, FITTER, {"event": "pause"}))
    paused = ride.onset
    ride.feed(Event(at_us + 2, FITTER, {"event": "resume"}))
    ride.feed(Event(at_us + 3, FITTER, {"event": "redo"}))

    assert answer is not None
    assert paused is answer
    assert ride.onset is None


def test_what_a_test_of_validity_newly_finds_is_told_at_the_step_that_showed_it(monkeypatch):
    found = Validity("hips", 5.0, "mm", None, Result.FAILED, True, "the hips slid", "ride it again")
    monkeypatch.setattr(loop, "newly_failed", lambda answer, told: [found])

    outputs, _ = fed(ridden(pieces=RATE_HZ))

    told = [one for one in kept(outputs, Notice) if "the hips slid" in one.text]
    steps = kept(outputs, StepMean)
    assert [one.level for one in told] == ["caution"] * len(kept(outputs, Onset))
    assert told[-1].t_s == pytest.approx(60.0 * steps[-1].t_min)


LOST_US = (20_000_000, 22_900_000)
"""Within the dwell of the second position."""


def with_a_gap(source):
    """A ridden sweep of which something is lost: the scans with source "board", something else with none."""
    items = ridden(pieces=RATE_HZ)
    later = next(i for i, item in enumerate(items) if isinstance(item, Samples) and item.received_us[0] > LOST_US[0])
    event = lost(LOST_US[0], "some of it", to_us=LOST_US[1], source=source, scans=None)
    return [*items[:later], event, *items[later:]]


def again(items):
    """The ride after all items, taken as they were recorded, and what came of them."""
    ride = Ride(RIG, CALIBRATION)
    return ride, [output for item in items for output in ride.feed_again(item)]


def test_lost_scans_cost_the_strokes_of_their_time_and_a_lost_event_costs_none():
    _, whole = again(ridden(pieces=RATE_HZ))
    _, without_event = again(with_a_gap(""))
    _, without_scans = again(with_a_gap("board"))

    inside = [one for one in kept(whole, Stroke) if LOST_US[0] < 1e6 * one.start_s < 1e6 * one.end_s < LOST_US[1]]
    assert bits(kept(without_event, Stroke)) == bits(kept(whole, Stroke))
    assert len(inside) > 3
    assert not {one.start_s for one in inside} & {one.start_s for one in kept(without_scans, Stroke)}


def test_on_a_ride_taken_up_with_a_gap_what_does_not_fit_is_refused_as_ever():
    ride, _ = again(with_a_gap("board"))

    with pytest.raises(NotNow):
        ride.feed(Event(10**9, FITTER, {"event": "saddle_moved", "setback_mm": 50.0}))


def test_what_is_lost_of_one_sweep_is_not_held_against_the_next():
    ride, _ = again(with_a_gap("board"))
    assert ride.ridden(1, "").losses == ("some of it",)

    outputs, _ = fed([dataclasses.replace(item, received_us=item.received_us + 10**9) for item in ridden(25)], ride)

    assert ride.ridden(2, "").losses == ()
    assert not [reason for answer in kept(outputs, Onset) for reason in answer.reasons if "lost" in reason]
