"""What is believed of the scatter before any test, and that it lets the tests speak.

Where every test places its bend as a normal does, riders, days and sweeps are a normal model with known formulas: sums
of squares between days and within them, and a mixture of normals for a new day. So thousands of panels are quick.
"""

import math

import numpy as np
import pytest
from scipy.special import ndtr

from daq.sweep.spreads import DAY_SDS_MM, GIVES_WAY, SWEEP_SDS_MM, judged_priors

PANELS = 2000
ERROR_MM, SWEEP_SD = 3.0, 2.0
UNBALANCED = (1, 3, 2, 1, 4, 1, 1, 2, 1, 3)


def covered(count, days, sweeps, day_sd, priors=None):
    """Share of new days within the 95 % interval; days: of each rider, sweeps: of each day."""
    rng = np.random.default_rng([count, int(day_sd), sweeps])
    at = np.resize(np.atleast_1d(days), count)
    between, within = int((at - 1).sum()), int((at * (sweeps - 1)).sum())
    error = SWEEP_SD**2 + ERROR_MM**2
    of_a_day = day_sd**2 + error / sweeps
    square_between = of_a_day * rng.chisquare(between, PANELS)
    square_within = error * rng.chisquare(within, PANELS) if within else np.zeros(PANELS)
    priors = judged_priors(between) if priors is None else priors
    believed_error = SWEEP_SDS_MM**2 + ERROR_MM**2 + 0.0 * DAY_SDS_MM[:, None]
    believed = DAY_SDS_MM[:, None] ** 2 + believed_error / sweeps
    log_p = -0.5 * (between * np.log(believed) + within * np.log(believed_error)) + np.log(np.outer(*priors_of(priors)))
    squares = square_between[:, None, None] / believed + square_within[:, None, None] / believed_error
    weight = np.exp(log_p - 0.5 * squares)
    weight /= weight.sum(axis=(1, 2), keepdims=True)
    held = []
    for own in at:
        sd = np.sqrt(believed / own + DAY_SDS_MM[:, None] ** 2 + SWEEP_SDS_MM**2)
        off = rng.normal(0.0, math.sqrt(of_a_day / own + day_sd**2 + SWEEP_SD**2), PANELS)
        below = (weight * ndtr(off[:, None, None] / sd)).sum(axis=(1, 2))
        held.append((below > 0.025) & (below < 0.975))
    return float(np.mean(held))


def priors_of(priors):
    return priors.day, priors.sweep


@pytest.mark.parametrize("day_sd", [0.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize(("count", "days", "sweeps"), [(3, 2, 2), (3, UNBALANCED, 1), (10, UNBALANCED, 1), (10, 2, 2)])
def test_a_new_day_lies_within_its_interval_whatever_the_scatter(count, days, sweeps, day_sd):
    """Bounds widened by two binomial standard errors of the panels; on whole likelihoods: tests.benchmarks.panel."""
    slack = 2.0 * math.sqrt(0.95 * 0.05 / PANELS)
    share = covered(count, days, sweeps, day_sd)

    assert share >= 0.93 - slack
    if day_sd >= 2.0 and count >= 10:
        assert share <= 0.97 + slack


def test_a_judgement_that_stayed_would_cover_too_little_where_days_differ_much():
    assert covered(3, UNBALANCED, 1, 10.0, judged_priors(0)) < 0.87


def test_the_judgement_gives_way_with_every_second_day():
    """By the densities: half-normal without a second day, 1/(5 mm + sd) from the third on, ratios of 5 to 1 mm."""
    at_1, at_5 = (int(np.flatnonzero(mm == DAY_SDS_MM)[0]) for mm in (1.0, 5.0))
    cells = np.gradient(DAY_SDS_MM)[[at_1, at_5]]

    def ratio(second_days):
        day = judged_priors(second_days).day
        return day[at_5] / day[at_1] * cells[0] / cells[1]

    assert ratio(0) == pytest.approx(math.exp(-0.5 * (25.0 - 1.0) / 25.0))
    assert ratio(GIVES_WAY) == ratio(50) == pytest.approx(6.0 / 10.0)
    wide = [judged_priors(n).day[DAY_SDS_MM > 10.0].sum() for n in range(GIVES_WAY + 1)]
    assert wide == sorted(wide)
    assert all(judged_priors(n).day.sum() == pytest.approx(1.0) for n in range(5))
