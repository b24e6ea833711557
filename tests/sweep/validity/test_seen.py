"""What the tests of validity look at: the place of the bend they judge about."""

from dataclasses import replace

import pytest

from daq.sweep.onset import onset
from daq.sweep.validity.seen import seen
from tests.sweep.rides import hinge, ride
from tests.sweep.validity.sweeps import ON_THE_JIG

STEPS = ride(hinge(52.0), noise_n=1.0, seed=1)
ANSWER = onset(STEPS)


@pytest.mark.parametrize(
    ("named_mm", "least_squares_mm", "bend_mm"),
    [
        (47.0, 61.0, 47.0),
        (None, 61.0, 61.0),
        (None, None, 55.0),
        (None, float("nan"), 55.0),
        (20.0, 61.0, 30.0),
        (None, 95.0, 80.0),
    ],
    ids=["named", "least squares", "neither", "no number", "in front of all", "behind all"],
)
def test_the_bend_is_where_it_is_named_and_else_where_least_squares_has_it(named_mm, least_squares_mm, bend_mm):
    """Ridden from 80 to 30 mm: the middle is 55 mm."""
    answer = replace(ANSWER, onset_mm=named_mm, least_squares_mm=least_squares_mm)

    assert seen(answer, STEPS, ON_THE_JIG).bend_mm == bend_mm
