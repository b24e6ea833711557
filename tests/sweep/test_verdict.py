"""Which claim a posterior bears: its interval has to lie between the second positions from either end."""

from dataclasses import dataclass

import pytest

from daq.sweep.evidence import gathered
from daq.sweep.verdict import verdict_of
from daq.values import Verdict
from tests.sweep.rides import hinge, ride

SWEPT = gathered(ride(hinge(52.0), noise_n=1.0, seed=1))
"""Eleven positions from 80 to 30 mm: the second ones are 75 and 35 mm."""


@dataclass
class Found:
    """A posterior with a bend at 52 mm and this interval."""

    low_mm: float = 45.0
    high_mm: float = 60.0
    p_onset: float = 0.99
    p_light: float = 0.005
    p_loaded: float = 0.005
    mean: float = -52.0

    def interval(self):
        return -self.high_mm, -self.low_mm


@pytest.mark.parametrize(
    ("low_mm", "high_mm", "verdict"),
    [
        (45.0, 60.0, Verdict.ONSET),
        (35.1, 74.9, Verdict.ONSET),
        (35.0, 60.0, Verdict.UNDECIDED),
        (31.0, 60.0, Verdict.UNDECIDED),
        (45.0, 75.0, Verdict.UNDECIDED),
        (45.0, 79.0, Verdict.UNDECIDED),
    ],
)
def test_an_onset_is_named_only_where_two_positions_lie_on_either_side(low_mm, high_mm, verdict):
    assert SWEPT.positions_mm[1] == 75.0
    assert SWEPT.positions_mm[-2] == 35.0
    assert verdict_of(SWEPT, Found(low_mm, high_mm)) is verdict


@pytest.mark.parametrize(
    ("chances", "verdict"),
    [
        ((0.96, 0.03, 0.01), Verdict.ONSET),
        ((0.9, 0.06, 0.04), Verdict.UNDECIDED),
        ((0.02, 0.96, 0.02), Verdict.LIGHT),
        ((0.06, 0.9, 0.04), Verdict.UNDECIDED),
        ((0.02, 0.02, 0.96), Verdict.LOADED),
        ((0.04, 0.06, 0.9), Verdict.UNDECIDED),
    ],
)
def test_a_claim_needs_more_than_90_per_cent(chances, verdict):
    onset, light, loaded = chances

    assert verdict_of(SWEPT, Found(p_onset=onset, p_light=light, p_loaded=loaded)) is verdict
