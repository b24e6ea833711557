"""What is said of today and of another day, of a case as it stands."""

from dataclasses import replace

import pytest

from daq.keep.clients.told import Gathered
from daq.live.telling.days_view import days_of
from daq.sweep.panel import Entry
from tests.fit.sweeps import ridden
from tests.keep.again.cases import CASE
from tests.sweep.panels import normal, told


def of_today(sweep):
    """Today's interval for a case with this sweep, whose kept likelihood is about 52 mm, with a spread of 3 mm."""
    (known,) = told([Entry("R", CASE.begun_utc[:10], normal(52.0, 3.0))])
    gathered = Gathered((replace(known, sweep=str(sweep.sweep_id)),), {}, {}, {})
    return days_of(replace(CASE, sweeps=(sweep,)), gathered, None).today_mm


def test_today_is_where_the_sweep_says_and_nowhere_else():
    sweep = ridden()
    assert sweep.onset.interval_95_mm is not None

    assert of_today(sweep) == sweep.onset.interval_95_mm


def test_a_sweep_that_names_no_onset_says_what_its_likelihood_does():
    level = ridden(lambda mm: 80.0)
    assert level.onset.interval_95_mm is None

    assert of_today(level) == pytest.approx((52.0 - 1.96 * 3.0, 52.0 + 1.96 * 3.0), abs=0.5)
