"""What is said of today and of another day, of a case as it stands."""

from dataclasses import replace

from daq.keep.clients.told import Gathered
from daq.live.telling.days_view import days_of
from daq.sweep.panel import Entry
from tests.fit.sweeps import ridden
from tests.keep.again.cases import CASE
from tests.sweep.panels import normal, told


def foretold(sweep):
    """What is said of a case with this sweep, whose kept likelihood is about 52 mm, with a spread of 3 mm."""
    (known,) = told([Entry("R", CASE.begun_utc[:10], normal(52.0, 3.0))])
    gathered = Gathered((replace(known, sweep=str(sweep.sweep_id)),), {}, {}, {})
    return days_of(replace(CASE, sweeps=(sweep,)), gathered, None)


def test_today_is_where_the_sweep_says_and_nowhere_else():
    sweep = ridden()
    assert sweep.onset.interval_95_mm is not None

    assert foretold(sweep).today_mm == sweep.onset.interval_95_mm


def test_of_a_sweep_that_names_no_onset_nothing_is_foretold_whatever_its_likelihood():
    level = ridden(lambda mm: 80.0)
    assert level.named is None

    assert foretold(level) == "no onset is named, so nothing is foretold of another day"
