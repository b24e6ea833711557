"""What a client's tests say beyond today, on made-up tests with known spreads."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.fit.days import days, spreads_from
from daq.sweep.panel import Entry
from daq.sweep.spreads import judged_priors
from daq.sweep.workshop import taught
from tests.sweep.panels import normal, one_rider, riders, told


def test_another_day_is_wider_than_today_and_the_prior_is_named():
    found = days(taught(one_rider(52.0)), "s0")
    today = found.today_mm[1] - found.today_mm[0]

    assert found.today_mm == (pytest.approx(52.0 - 1.96 * 2.0, abs=0.5), pytest.approx(52.0 + 1.96 * 2.0, abs=0.5))
    assert found.another_day_mm[1] - found.another_day_mm[0] > 2.0 * today
    assert "is judgement, about 5 mm. Where it is much more" in found.spreads_from


def test_how_well_the_scatter_is_known_is_said_with_every_second_day():
    def said(second_days, prior=None):
        tests, _ = riders(
            np.random.default_rng(1),
            count=max(second_days, 1),
            days=1 + (second_days > 0),
            sweeps=1,
            day_sd=5.0,
            sweep_sd=1.0,
        )
        return spreads_from(taught(told(tests), prior))

    assert said(0).startswith("Nobody was tested on a second day here yet")
    assert "1 second day here is not enough" in said(1)
    assert "mostly judgement" in said(2)
    assert "hardly known, so the intervals are wide" in said(3)
    assert said(5) == "How far onsets scatter between days is learned from 5 second days here."
    assert "mostly the tests of A" in said(3, replace(judged_priors(), name="A"))


def test_the_chance_today_and_on_another_day_stand_beside_each_other():
    found = days(taught(one_rider(52.0)), "s0")

    assert found.chances_at(60.0).today < 0.01
    assert 0.05 < found.chances_at(60.0).another_day < 0.25
    assert found.chances_at(52.0).today == pytest.approx(0.5, abs=0.1)
    assert [one.setback_mm for one in found.chances] == sorted((one.setback_mm for one in found.chances), reverse=True)


def test_the_chance_between_two_places_is_interpolated_and_beyond_them_that_of_the_last():
    found = days(taught(one_rider(52.0)), "s0")
    at = [found.chances_at(mm) for mm in (52.0, 51.5, 51.0)]
    rear, front = found.chances[0], found.chances[-1]

    for name in ("today", "another_day"):
        chances = [getattr(one, name) for one in at]
        assert chances[1] == pytest.approx(0.5 * (chances[0] + chances[2]))
        assert chances[0] < chances[1] < chances[2]
    assert found.chances_at(rear.setback_mm + 9.0).today == rear.today
    assert found.chances_at(front.setback_mm - 9.0).today == front.today


def test_a_change_is_clear_only_beyond_what_days_bring():
    small, large = days(taught(one_rider(52.0, 44.0)), "s1"), days(taught(one_rider(52.0, 16.0)), "s1")

    assert not small.moved[0].clear
    assert large.moved[0].clear
    assert small.moved[0].change_mm == pytest.approx(-8.0, abs=0.5)
    assert small.moved[0].detectable_mm > 10.0, "one sweep's own interval would have called 5.5 mm a change"


def test_two_saddles_on_one_day_are_compared_without_the_days_spread():
    same = days(taught(one_rider(52.0, 44.0, days=["d", "d"])), "s1").moved[0]
    other = days(taught(one_rider(52.0, 44.0)), "s1").moved[0]

    assert same.same_day
    assert same.detectable_mm < 0.8 * other.detectable_mm


@pytest.mark.parametrize("verdicts", [["light-throughout", "onset"], ["onset", "undecided"]])
def test_a_test_without_an_onset_is_not_compared(verdicts):
    """Its likelihood piles up at an end of the positions ridden, and a distance to that end is no change."""
    assert days(taught(one_rider(52.0, 16.0, verdict=verdicts)), "s1").moved == ()


def test_a_climb_is_not_compared_with_the_level():
    found = days(taught(one_rider(52.0, 38.0, days=["d", "d"], gradient_pct=[0.0, 4.5])), "s0")

    assert found.moved == ()


def test_a_climb_is_foretold_where_it_was_ridden():
    tests = one_rider(52.0, 38.0, days=["d", "d"], gradient_pct=[0.0, 4.5])
    level, climb = (days(taught(tests), name) for name in ("s0", "s1"))

    def middle(found):
        return sum(found.another_day_mm) / 2.0

    assert middle(level) == pytest.approx(52.0, abs=2.0)
    assert middle(climb) == pytest.approx(38.0, abs=2.0)


def test_what_helps_most_is_another_day_where_days_scatter():
    tests, _ = riders(np.random.default_rng(1), count=20, days=3, sweeps=1, day_sd=8.0, sweep_sd=0.0)
    found = days(taught(told([*tests, Entry("R-new", "d", normal(50.0, 2.0))])), f"s{len(tests)}")
    width = {one.what: one.width_mm for one in found.helps}

    assert min(width, key=width.get) == "one on another day"
    assert width["one more sweep today"] > width["one on another day"] + 1.0
    assert width["nothing more"] >= max(width.values()) - 0.2
    assert all(math.isfinite(one) for one in width.values())


def test_an_earlier_visit_narrows_the_next_by_itself():
    once, twice = days(taught(one_rider(52.0)), "s0"), days(taught(one_rider(50.0, 52.0)), "s1")

    assert twice.own_days == 2
    assert np.diff(twice.another_day_mm)[0] < np.diff(once.another_day_mm)[0]


def test_a_sweep_that_says_nothing_has_no_other_day():
    assert days(taught(one_rider(52.0)), "another") is None
