"""Recorded conditions that may move the onset: gradient, saddle, bar, time of day, rig; their effects are estimated
over all riders. Each effect has a normal prior. Estimates are the maximum of the probability of all tests, with the
covariance from the curvature there (Laplace), at the panel's own scatter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.sweep.panel import Entry, Panel, evidence_at, grid_of
from daq.values import Array
from daq.words import counted

GRADIENT_MM_PER_PCT, GRADIENT_SPREAD = -3.25, 1.25
"""The onset lies 2 to 4.5 mm further forward for each 1 % of climb: mechanics of a model rider, not measured."""
OTHER_SPREAD_MM = 5.0
"""Prior standard deviation of an effect about which nothing is known. Judgement, no source."""
ROUNDS = 6
CLOSE_MM = 0.02
"""The search ends when a step moves every test's onset by less than this."""
REACH_MM = 1.0
"""The step for the numerical slope and curvature of the tests' probability."""


@dataclass(frozen=True, slots=True)
class OnsetEffect:
    """One condition that may move the onset, with its prior, mm per unit of its column."""

    name: str
    mean_mm: float = 0.0
    spread_mm: float = OTHER_SPREAD_MM


GRADIENT = OnsetEffect("gradient", GRADIENT_MM_PER_PCT, GRADIENT_SPREAD)


@dataclass(frozen=True, eq=False, slots=True)
class Effects:
    """(K,) effects and their (K, K) covariance."""

    effects: tuple[OnsetEffect, ...]
    mm: Array
    covariance: Array


def estimated(tests: Sequence[Entry], columns: Array, effects: Sequence[OnsetEffect], found: Panel) -> Effects:
    """The effects of (k, K) columns over k tests in order, ignoring their own effects_mm. ValueError if tests and
    columns differ in number.
    """
    if columns.shape != (len(tests), len(effects)):
        raise ValueError(f"columns: expected {counted(len(tests), 'row')} of {len(effects)}, got {columns.shape}")
    means = np.array([one.mean_mm for one in effects])
    spreads = np.array([one.spread_mm for one in effects])
    widest = np.maximum(np.abs(columns).max(axis=0), 1e-9)
    places_mm = grid_of(moved(tests, np.abs(columns) @ (np.abs(means) + 3.0 * spreads)))
    steps = REACH_MM / widest

    def log_p(mm: Array) -> float:
        told = moved(tests, columns @ mm)
        seen = evidence_at(told, places_mm, day_sd_mm=found.day_sd_mm, sweep_sd_mm=found.sweep_sd_mm)
        return seen - 0.5 * float(np.sum(((mm - means) / spreads) ** 2))

    mm = means
    for _ in range(ROUNDS):
        slope, curvature = _felt(log_p, mm, steps)
        step = np.clip(np.linalg.solve(curvature, slope), -spreads, spreads)
        mm = mm - step
        if (np.abs(step) * widest < CLOSE_MM).all():
            break  # this round's curvature is that at the maximum
    return Effects(tuple(effects), mm, np.asarray(np.linalg.inv(-curvature), dtype=np.float64))


def moved(tests: Sequence[Entry], by_mm: Array) -> list[Entry]:
    """The tests with these effects subtracted."""
    return [replace(one, effects_mm=float(mm)) for one, mm in zip(tests, by_mm, strict=True)]


def _felt(log_p: Callable[[Array], float], mm: Array, steps: Array) -> tuple[Array, Array]:
    """Slope (K,) by central differences and curvature (K, K), mixed terms by forward ones."""
    n = len(mm)
    here = log_p(mm)
    up, down = ([log_p(mm + sign * steps * (np.arange(n) == k)) for k in range(n)] for sign in (1.0, -1.0))
    slope = (np.array(up) - np.array(down)) / (2.0 * steps)
    curvature = np.diag((np.array(up) + np.array(down) - 2.0 * here) / steps**2)
    for j in range(n):
        for k in range(j):
            both = log_p(mm + steps * ((np.arange(n) == j) | (np.arange(n) == k)))
            curvature[j, k] = curvature[k, j] = (both - up[j] - up[k] + here) / (steps[j] * steps[k])
    return slope, _downward(curvature)


def _downward(curvature: Array) -> Array:
    """The same, made negative definite, so that a step leads uphill."""
    values, vectors = np.linalg.eigh(curvature)
    return np.asarray((vectors * np.minimum(values, -1e-4)) @ vectors.T)
