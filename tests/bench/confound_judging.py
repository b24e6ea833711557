"""How the confounds benchmark judges one sweep: the one place that changes when the judging does."""

from __future__ import annotations

from daq.physics import STANDARD_G_M_S2
from daq.sweep.guard import doubts, guarded
from daq.sweep.onset import onset
from daq.values import Onset
from tests.bench.confound_rides import Ridden

BEFORE = "hinge-posterior/2"
"""What the benchmark's gains and losses are counted against, without any test of validity."""


def judged(sweep: Ridden) -> Onset:
    """The answer a fitter is given."""
    found = doubts(sweep.steps, mass_kg=sweep.mass_kg, g_m_s2=STANDARD_G_M_S2)
    return guarded(plain(sweep), found)


def plain(sweep: Ridden) -> Onset:
    """The answer of the statistics alone."""
    return onset(sweep.steps)


def before(sweep: Ridden) -> Onset:
    """The answer there was before."""
    return onset(sweep.steps, method=BEFORE)
