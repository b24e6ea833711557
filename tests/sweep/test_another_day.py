import math

import numpy as np
import pytest

from daq.sweep.another_day import Foretold, another_day, change, today, what_helps
from daq.sweep.panel import Entry, panel
from daq.sweep.spreads import judged_priors
from daq.values import Likelihood
from tests.sweep.panels import normal, riders, shown

ONE = Entry("R-1", "2026-05-01", normal(51.5, 3.83))


def test_one_test_widens_to_another_day_by_the_spreads_of_two_days_and_two_sweeps():
    """By hand: variance 3.83^2 + 2 (5^2 + 2^2) = 72.7 mm2 where half-normal priors of 5 and 2 mm are all that is known;
    their mean square is the square of the spread. The tails are longer than a normal's: by drawing a million rides."""
    rng = np.random.default_rng(2)
    spreads = np.abs(rng.normal(0.0, [[5.0], [2.0]], (2, 10**6)))
    drawn = rng.normal(51.5, np.sqrt(3.83**2 + 2.0 * (spreads**2).sum(axis=0)))
    foretold = another_day([ONE], panel([ONE]))
    variance = float(foretold.p @ (foretold.places_mm - foretold.mean_mm) ** 2)

    assert variance == pytest.approx(3.83**2 + 2.0 * (5.0**2 + 2.0**2), rel=0.03)
    assert foretold.interval_mm == pytest.approx(tuple(np.quantile(drawn, (0.025, 0.975))), abs=0.4)
    assert today(ONE).interval_mm == pytest.approx((51.5 - 1.96 * 3.83, 51.5 + 1.96 * 3.83), abs=0.15)


def test_the_chance_at_the_decided_place_is_larger_another_day_than_today():
    """Today: 8.5 mm is 2.2 standard deviations. Another day: by drawing a million rides from the same beliefs."""
    rng = np.random.default_rng(1)
    day_sd, sweep_sd = np.abs(rng.normal(0.0, 5.0, 10**6)), np.abs(rng.normal(0.0, 2.0, 10**6))
    spread = np.sqrt(3.83**2 + 2.0 * (day_sd**2 + sweep_sd**2))
    drawn = float(np.mean(51.5 + spread * rng.normal(size=10**6) > 60.0))

    assert today(ONE).chance_behind(60.0) == pytest.approx(0.013, abs=0.003)
    assert another_day([ONE], panel([ONE])).chance_behind(60.0) == pytest.approx(drawn, abs=0.005)


def test_the_chance_between_two_whole_millimetres_is_between_theirs():
    """Each place's probability is spread over its own millimetre, here 51.5 to 52.5 and 50.5 to 51.5."""
    one = Foretold(np.array([52.0, 51.0]), np.array([0.4, 0.6]))

    assert [one.chance_behind(mm) for mm in (53.0, 52.0, 51.75, 51.5, 51.0, 50.0)] == pytest.approx(
        [0.0, 0.2, 0.3, 0.4, 0.7, 1.0]
    )


def test_an_onset_that_lies_forward_of_all_that_was_ridden_has_no_forward_limit():
    light = Entry("R", "1", Likelihood(80.0, 1.0, (-8.0,) * 51, 0.0, -20.0))
    front, rear = another_day([light], panel([light])).interval_mm

    assert front is None
    assert rear is not None
    assert math.isinf(another_day([light], panel([light])).width_mm)


@pytest.mark.study
@pytest.mark.parametrize(
    ("count", "days", "day_sd"), [(3, 2, 5.0), (10, (1, 3, 2, 1, 4, 1, 1, 2, 1, 3), 2.0), (50, 2, 10.0), (10, 3, 0.0)]
)
def test_the_interval_for_another_day_covers_the_days_it_has_not_seen(count, days, day_sd):
    """Held-out days, unbalanced panels too. At least 0.93; at most 0.97 from 2 mm and 10 riders on, where the spreads
    can be known. Bounds widened by two binomial standard errors of the number of riders foretold; in full:
    tests.benchmarks.panel."""
    rng = np.random.default_rng([count, int(10 * day_sd)])
    held = total = 0
    while total < 60:
        tests, own = riders(rng, count=count, days=days, sweeps=2, day_sd=day_sd, sweep_sd=2.0)
        found = panel(tests)
        for rider in list(own)[:15]:
            foretold = another_day([one for one in tests if one.rider == rider], found)
            front, rear = foretold.interval_mm
            held += front <= shown(rng, own[rider], day_sd=day_sd, sweep_sd=2.0) <= rear
            total += 1
    slack = 2.0 * math.sqrt(0.95 * 0.05 / total)

    assert held / total >= 0.93 - slack
    if day_sd >= 2.0 and count >= 10:
        assert held / total <= 0.97 + slack


def test_a_change_between_days_has_the_days_in_it_and_one_of_a_day_has_not():
    found = panel([ONE])
    later = Entry("R-1", "2026-06-01", normal(45.0, 3.83))
    same = Entry("R-1", "2026-05-01", normal(45.0, 3.83))
    between_days, within = change(ONE, later, found), change(ONE, same, found)

    assert between_days.change_mm == within.change_mm == pytest.approx(-6.5, abs=0.05)
    # by hand: 1.96 sqrt(2 (3.83^2 + 29)), and without the days 1.96 sqrt(2 (3.83^2 + 4))
    assert between_days.detectable_mm == pytest.approx(18.3, abs=0.3)
    assert within.detectable_mm == pytest.approx(12.0, abs=0.3)
    assert between_days.interval_95_mm[1] > 0.0


def test_a_sweep_on_another_day_helps_most_where_days_differ_most():
    width = {one.what: one.width_mm for one in what_helps([ONE], panel([ONE]), like=ONE)}

    assert width["nothing more"] == another_day([ONE], panel([ONE])).width_mm
    assert width["one on another day"] < width["one twice as long today"] < width["nothing more"]
    assert width["one on another day"] < width["one more sweep today"] < width["nothing more"]


def test_repeats_narrow_the_interval_for_another_day():
    several = [Entry("R-1", f"2026-05-0{d}", normal(51.5, 3.83)) for d in range(1, 5)]

    assert another_day(several, panel(several)).width_mm < another_day([ONE], panel([ONE], judged_priors())).width_mm
