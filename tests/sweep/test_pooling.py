"""Workshops pooled in part: drawn to each other as far as they agree, and what a further one may expect."""

import numpy as np
import pytest
from scipy.stats import norm

from daq.sweep.panel import Panel
from daq.sweep.pooling import BETWEEN, BETWEEN_PRIOR, pooled
from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, SpreadPriors, judged_priors

PRIORS = judged_priors(10)
GRIDS = (DAY_SDS_MM, SWEEP_SDS_MM)
ERROR_MM = 3.0


def workshop(rng, *, day_sd, sweep_sd, riders, priors=PRIORS):
    """Riders of two days of two sweeps; sums of squares between days and within them have a chi-square distribution."""
    within_mm2 = sweep_sd**2 + ERROR_MM**2
    between_mm2 = day_sd**2 + 0.5 * within_mm2
    square_between, square_within = between_mm2 * rng.chisquare(riders), within_mm2 * rng.chisquare(2 * riders)
    believed_within = SWEEP_SDS_MM**2 + ERROR_MM**2 + 0.0 * DAY_SDS_MM[:, None]
    believed_between = DAY_SDS_MM[:, None] ** 2 + 0.5 * believed_within
    log_p = -0.5 * riders * np.log(believed_between) - riders * np.log(believed_within)
    log_p -= 0.5 * (square_between / believed_between + square_within / believed_within)
    weight = np.exp(log_p - log_p.max()) * np.outer(priors.day, priors.sweep)
    return Panel(weight / weight.sum(), riders, 2 * riders, 4 * riders, priors)


def mean(weight):
    return float(weight @ DAY_SDS_MM)


def around(rng, grid_mm, middle_mm, apart):
    """A workshop's standard deviation, the nearest one on the grid."""
    sd_mm = -1.0
    while not 0.0 <= sd_mm <= grid_mm[-1]:
        sd_mm = np.exp(np.log(1.0 + middle_mm) + apart * rng.normal()) - 1.0
    return float(grid_mm[np.argmin(np.abs(grid_mm - sd_mm))])


def test_one_with_few_repeats_is_drawn_to_the_others_and_one_with_many_is_not():
    rng = np.random.default_rng(1)
    many = {name: workshop(rng, day_sd=3.0, sweep_sd=1.0, riders=60) for name in ("A", "B", "C")}
    few, other = (workshop(rng, day_sd=9.0, sweep_sd=1.0, riders=riders) for riders in (2, 60))
    drawn, kept = pooled({**many, "few": few}, "all").each["few"], pooled({**many, "other": other}, "all").each["other"]

    assert mean(many["A"].weight.sum(axis=1)) < mean(drawn.day) < mean(few.weight.sum(axis=1)) - 1.0
    assert mean(kept.day) == pytest.approx(other.day_sd_mm, abs=0.5)


def test_another_workshop_is_less_known_than_any_of_these_and_least_where_they_differ():
    rng = np.random.default_rng(2)
    alike = {str(i): workshop(rng, day_sd=4.0, sweep_sd=1.0, riders=40) for i in range(4)}
    apart = {str(i): workshop(rng, day_sd=sd, sweep_sd=1.0, riders=40) for i, sd in enumerate((1.0, 4.0, 4.0, 13.5))}

    def spread(weight):
        return float(np.sqrt(weight @ DAY_SDS_MM**2 - mean(weight) ** 2))

    one, same, different = pooled({"0": alike["0"]}, "x"), pooled(alike, "x"), pooled(apart, "x")
    assert spread(same.each["0"].day) < spread(same.another.day) < spread(one.another.day)
    assert spread(same.another.day) < spread(different.another.day)
    assert same.between < 0.3 < different.between
    assert same.another.name == "x"


def test_the_order_of_workshops_changes_no_bit():
    rng = np.random.default_rng(3)
    panels = {name: workshop(rng, day_sd=4.0, sweep_sd=1.0, riders=5) for name in "ABC"}
    once, again = pooled(panels, "x"), pooled(dict(reversed(panels.items())), "x")

    assert once.another.day.tobytes() == again.another.day.tobytes()
    assert {name: one.sweep.tobytes() for name, one in once.each.items()} == {
        name: one.sweep.tobytes() for name, one in again.each.items()
    }


def test_the_sums_are_those_of_drawing_workshops_at_random():
    """Importance sampling from the priors, in which a workshop's spread is drawn from a normal in the logarithm."""
    rng = np.random.default_rng(4)
    panels = {str(i): workshop(rng, day_sd=sd, sweep_sd=1.0, riders=4) for i, sd in enumerate((2.0, 7.5))}
    seen = [one.weight / np.outer(PRIORS.day, PRIORS.sweep) for one in panels.values()]
    draws = 200_000
    apart = np.abs(rng.normal(0.0, BETWEEN_PRIOR, draws))
    apart = apart[apart < BETWEEN[-1]]
    weight, drawn = np.ones(len(apart)), []
    middles = [rng.choice(grid, len(apart), p=p) for grid, p in zip(GRIDS, (PRIORS.day, PRIORS.sweep), strict=True)]
    for likelihood in [*seen, None]:
        at = []
        for grid, middle in zip(GRIDS, middles, strict=True):
            edges = np.log(1.0 + 0.5 * (grid[1:] + grid[:-1]))
            ends = norm.cdf(np.log(1.0 + grid[[0, -1]]), np.log(1.0 + middle)[:, None], apart[:, None])
            share = ends[:, 0] + rng.uniform(size=len(apart)) * (ends[:, 1] - ends[:, 0])
            at.append(np.searchsorted(edges, norm.ppf(share, np.log(1.0 + middle), apart)))
        drawn.append(at[0])
        weight = weight if likelihood is None else weight * likelihood[at[0], at[1]]
    weight /= weight.sum()
    found = pooled(panels, "x")

    for of, believed in zip(drawn, (*found.each.values(), found.another), strict=True):
        assert mean(believed.day) == pytest.approx(float(weight @ DAY_SDS_MM[of]), rel=0.06)
    assert found.between == pytest.approx(float(weight @ apart), abs=0.05)


def test_a_further_workshops_spread_has_an_even_rank_in_what_is_expected_of_it():
    """Simulation-based calibration (Talts et al. 2018, arXiv 1804.06788, from memory): the middle and the distance are
    drawn from their priors, four workshops told of, the fifth asked for."""
    rng = np.random.default_rng(5)
    untold = pooled({"A": Panel(np.outer(PRIORS.day, PRIORS.sweep), 1, 1, 1, PRIORS)}, "x")
    assert untold.between == pytest.approx(BETWEEN_PRIOR * np.sqrt(2.0 / np.pi), abs=0.06), "its prior"
    ranks = []
    for _ in range(100):
        apart = 2.0
        while apart > BETWEEN[-1]:
            apart = abs(rng.normal(0.0, BETWEEN_PRIOR))
        middle, of_sweeps = (rng.choice(grid, p=p) for grid, p in zip(GRIDS, (PRIORS.day, PRIORS.sweep), strict=True))
        told = {}
        for i in range(4):
            sd, sweep_sd = around(rng, DAY_SDS_MM, middle, apart), around(rng, SWEEP_SDS_MM, of_sweeps, apart)
            told[str(i)] = workshop(rng, day_sd=sd, sweep_sd=sweep_sd, riders=6)
        day, asked = pooled(told, "x").another.day, around(rng, DAY_SDS_MM, middle, apart)
        at = int(np.flatnonzero(asked == DAY_SDS_MM)[0])
        ranks.append(day[:at].sum() + rng.uniform() * day[at])
    counts = np.histogram(ranks, bins=5, range=(0.0, 1.0))[0]

    # chi-square with 4 degrees of freedom: 18.5 is exceeded once in a thousand times
    assert float(np.sum((counts - 20.0) ** 2 / 20.0)) < 18.5


def test_workshops_weighed_with_different_priors_are_refused():
    rng = np.random.default_rng(6)
    own = SpreadPriors(PRIORS.day[::-1].copy(), PRIORS.sweep, "own")
    one, other = (workshop(rng, day_sd=1.0, sweep_sd=1.0, riders=3, priors=each) for each in (PRIORS, own))
    with pytest.raises(ValueError, match="the same priors"):
        pooled({"A": one, "B": other}, "x")
    with pytest.raises(ValueError, match="at least one workshop"):
        pooled({}, "x")
