"""Riders, days, sweeps: what one test says about the next ride.

One sweep's interval says how well this sweep placed its bend. The onset of sweep s of rider r on day d is

    onset_rds = m_r + day_rd + sweep_rds + effects x_rds

with day_rd ~ N(0, day sd) and sweep_rds ~ N(0, sweep sd). A sweep enters by its whole likelihood over the place of the
bend, not by a number: one that stayed light says that the onset lies further forward, one that was loaded throughout
that it lies further back, an undecided one says what it says. On a grid of places all of this is a chain of
convolutions, so nothing is drawn at random and the same tests give the same bits.

    sweep   A_s(m + day) = sum over c of L_s(c) N(c - m - day; sweep sd)
    day     B_d(m)       = sum over day of N(day; day sd) prod A_s(m + day)
    rider   post_r(m)    ~ prod B_d(m)

The two standard deviations are not known: their priors (daq.sweep.spreads) are weighed by the marginal likelihood of
all riders' tests. Random-effects models with unknown variances do the same where likelihoods are normal (Gelman 2006,
Bayesian Analysis 1:515, on priors of a standard deviation; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import toeplitz

from daq.sweep.spreads import DAY_SDS_MM, SWEEP_SDS_MM, SpreadPriors, Spreads, judged_priors, scatter_in
from daq.values import Array, Bools, Likelihood

STEP_MM = 1.0
BEYOND_MM = 60.0
"""How far the grid extends beyond every ridden position: an onset may lie where nobody rode."""
NEARLY_NONE = 1e-300


@dataclass(frozen=True, slots=True)
class Entry:
    """One sweep: whose, on which day, and what it says about the onset."""

    rider: str
    day: str
    likelihood: Likelihood
    effects_mm: float = 0.0
    """The known effect of conditions on this sweep's onset, subtracted before anything else."""


@dataclass(frozen=True, eq=False, slots=True)
class Panel:
    """What all tests together say about the scatter."""

    weight: Array
    """(D, S) probability of each pair of standard deviations."""
    riders: int
    days: int
    sweeps: int
    priors: SpreadPriors

    @property
    def repeats(self) -> int:
        """Sweeps beyond each rider's first: only these inform the scatter."""
        return self.sweeps - self.riders

    @property
    def second_days(self) -> int:
        """Days beyond each rider's first: only these inform the scatter between days."""
        return self.days - self.riders

    @property
    def day_sd_mm(self) -> float:
        """Between days: posterior mean."""
        return float(self.weight.sum(axis=1) @ DAY_SDS_MM)

    @property
    def sweep_sd_mm(self) -> float:
        """Between sweeps of one day."""
        return float(self.weight.sum(axis=0) @ SWEEP_SDS_MM)

    @property
    def scatter(self) -> Spreads:
        """Posterior mean squares."""
        return scatter_in(self.weight.sum(axis=1), self.weight.sum(axis=0))

    @property
    def variance_mm2(self) -> float:
        """Of one sweep's onset about the rider's own, day and sweep combined: posterior mean."""
        return self.scatter.day_mm2 + self.scatter.sweep_mm2


def panel(tests: Sequence[Entry], priors: SpreadPriors | None = None) -> Panel:
    """The panel of these tests, in any order. ValueError without one."""
    tests = in_order(tests)
    places_mm = grid_of(tests)
    days, riders = firsts(tests)
    priors = judged_priors(len(days) - len(riders)) if priors is None else priors
    log_p = np.array(
        [[each.sum() for each in row] for row in _evidence(log_likelihoods(tests, places_mm), days, riders)]
    )
    log_p = log_p + np.log(np.maximum(priors.day, NEARLY_NONE))[:, None] + np.log(np.maximum(priors.sweep, NEARLY_NONE))
    mass = np.exp(log_p - log_p.max())
    return Panel(mass / mass.sum(), len(riders), len(days), len(tests), priors)


def _evidence(log_l: Array, days: list[int], riders: list[int]) -> Array:
    """(D, S, R) log probability of each rider's tests, with a uniform prior of the rider's own onset over the grid."""
    found = np.empty((len(DAY_SDS_MM), len(SWEEP_SDS_MM), len(riders)))
    for s, sweep_sd in enumerate(SWEEP_SDS_MM):
        of_days = np.add.reduceat(blurred(log_l, sweep_sd), days, axis=0)
        for d, day_sd in enumerate(DAY_SDS_MM):
            found[d, s] = _log_means(np.add.reduceat(blurred(of_days, day_sd), np.searchsorted(days, riders), axis=0))
    return found


def evidence_at(tests: Sequence[Entry], places_mm: Array, *, day_sd_mm: float, sweep_sd_mm: float) -> float:
    """Log probability of all tests at one pair of standard deviations; the tests in order."""
    days, riders = firsts(tests)
    of_days = np.add.reduceat(blurred(log_likelihoods(tests, places_mm), sweep_sd_mm), days, axis=0)
    of_riders = np.add.reduceat(blurred(of_days, day_sd_mm), np.searchsorted(days, riders), axis=0)
    return float(_log_means(of_riders).sum())


def own_onset(tests: Sequence[Entry], places_mm: Array, believed: Bools) -> Array:
    """(D, S, n) probability of one rider's own onset m, for each pair of standard deviations with some weight; zero for
    the others."""
    days, _ = firsts(tests)
    log_l = log_likelihoods(tests, places_mm)
    found = np.zeros((len(DAY_SDS_MM), len(SWEEP_SDS_MM), len(places_mm)))
    for s in np.flatnonzero(believed.any(axis=0)):
        of_days = np.add.reduceat(blurred(log_l, SWEEP_SDS_MM[s]), days, axis=0)
        for d in np.flatnonzero(believed[:, s]):
            log_m = blurred(of_days, DAY_SDS_MM[d]).sum(axis=0)
            mass = np.exp(log_m - log_m.max())
            found[d, s] = mass / mass.sum()
    return found


def in_order(tests: Sequence[Entry]) -> list[Entry]:
    """By rider and day; of one day as given. ValueError without a test."""
    if not tests:
        raise ValueError("tests: expected at least one sweep with its likelihood")
    return sorted(tests, key=lambda one: (one.rider, one.day))


def _log_means(log_p: Array) -> Array:
    top = log_p.max(axis=1)
    return np.asarray(top + np.log(np.exp(log_p - top[:, None]).mean(axis=1)))


def log_likelihoods(tests: Sequence[Entry], places_mm: Array) -> Array:
    """(k, n) of each test at each place."""
    return np.array([on_grid(one, places_mm) for one in tests])


def on_grid(one: Entry, places_mm: Array) -> Array:
    """(n,) log likelihood at each place: light forward of the ridden positions, loaded behind them."""
    told = one.likelihood
    at_mm = told.rear_mm - told.step_mm * np.arange(len(told.log_l))
    wanted = places_mm + one.effects_mm
    inside = np.interp(-wanted, -at_mm, told.log_l)
    return np.where(wanted > at_mm[0], told.log_loaded, np.where(wanted < at_mm[-1], told.log_light, inside))


@lru_cache(maxsize=64)
def kernel(n: int, sd_mm: float) -> Array:
    """(n, n) probability of each grid point given another, a normal with this sd; what falls off the grid stays at its
    end. It is sampled at the grid points: its operands are smooth, so sums are as good as integrals.
    """
    if sd_mm == 0.0:
        return np.eye(n)
    reach = max(n, _reach(sd_mm))
    weight = _normal(reach, sd_mm)
    found = toeplitz(weight[reach : reach + n])
    up_to = np.cumsum(weight)
    found[:, 0] = up_to[reach - np.arange(n)]
    found[:, -1] = 1.0 - up_to[reach + n - 2 - np.arange(n)]
    return np.asarray(np.maximum(found, 0.0))


def spread_out(p: Array, sd_mm: float) -> Array:
    """(n,) probabilities after a normal error with this sd; what falls off the grid stays at its end."""
    if sd_mm == 0.0:
        return p
    reach, n = _reach(sd_mm), len(p)
    wide = np.convolve(p, _normal(reach, sd_mm))
    inside = wide[reach : reach + n].copy()
    inside[0] += wide[:reach].sum()
    inside[-1] += wide[reach + n :].sum()
    return np.asarray(inside)


def _reach(sd_mm: float) -> int:
    return math.ceil(8.0 * sd_mm / STEP_MM)


def _normal(reach: int, sd_mm: float) -> Array:
    """(2 reach + 1,) a normal at the grid's steps, summing to 1."""
    weight = np.exp(-0.5 * (np.arange(-reach, reach + 1) * STEP_MM / sd_mm) ** 2)
    return np.asarray(weight / weight.sum())


def blurred(log_l: Array, sd_mm: float) -> Array:
    """(k, n) log likelihoods after a normal error of this sd was averaged out."""
    if sd_mm == 0.0:
        return log_l
    top = log_l.max(axis=1, keepdims=True)
    mass = np.exp(log_l - top) @ kernel(log_l.shape[1], sd_mm).T
    return np.asarray(top + np.log(np.maximum(mass, NEARLY_NONE)))


def grid_of(tests: Sequence[Entry]) -> Array:
    """(n,) setbacks from behind the ridden range to forward of it, rearmost first."""
    rear = [one.likelihood.rear_mm for one in tests]
    front = [one.likelihood.rear_mm - one.likelihood.step_mm * (len(one.likelihood.log_l) - 1) for one in tests]
    shifts = [abs(one.effects_mm) for one in tests]
    high, low = math.ceil(max(rear) + max(shifts) + BEYOND_MM), math.floor(min(front) - max(shifts) - BEYOND_MM)
    return np.arange(high, low - STEP_MM, -STEP_MM, dtype=float)


def firsts(tests: Sequence[Entry]) -> tuple[list[int], list[int]]:
    """Index of the first sweep of each day and of each rider; the tests in order."""
    keys = [(one.rider, one.day) for one in tests]
    days = [i for i, key in enumerate(keys) if i == 0 or key != keys[i - 1]]
    riders = [i for i, key in enumerate(keys) if i == 0 or key[0] != keys[i - 1][0]]
    return days, riders
