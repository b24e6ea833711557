"""How well each step is known: one model of the sway of hand load, pooled over the strokes of all steps.

Strokes follow each other too closely to be independent, and a single step is too short to tell by how much: standard
errors made step by step are wrong by 2-7 times. So one model serves all steps. Within a step

    load = step's level + q (torque - mean torque) + sway + scatter

with sway an Ornstein-Uhlenbeck process (share `sway` of the variance, correlation time tau) and scatter white from
stroke to stroke. Restricted likelihood (REML: the levels and q integrated out, Patterson & Thompson 1971, from memory)
weighs every (sway, tau) of a small grid, and what is needed of each step is averaged with these weights.

Per grid point one pass of the Kalman filter whitens all columns of all steps at once; ordinary least squares on the
whitened columns is then generalised least squares on the strokes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.values import NAN, Array, Bools

SWAY_SHARES = np.array([0.0, 0.2, 0.4, 0.6, 0.75, 0.87, 0.95, 1.0])
TAUS_S = np.geomspace(0.7, 20.0, 8)
TAU_S, TAU_SPREAD = 4.0, 0.9
"""Median and spread of log(tau) before anything is seen: 2-10 s is what riders' sway is given as."""
ONE, TORQUE, LOAD = range(3)


@dataclass(frozen=True, eq=False, slots=True)
class Series:
    """Strokes of n steps, padded to the longest, (n, m)."""

    t_s: Array
    torque_nm: Array
    there: Bools


@dataclass(frozen=True, eq=False, slots=True)
class PooledLevels:
    """One load's level at each step and its standard error, (n,), and the torque's effect seen in the strokes."""

    load_n: Array
    torque_nm: Array
    """Mean torque with the same weights; NaN if torque is unknown on any stroke."""
    se_n: Array
    """Standard error of load_n at given torque."""
    torque_effect: float
    """N/Nm within steps; NaN without torque."""
    torque_effect_se: float
    tau_s: float
    sway: float
    sd_n: float
    """Standard deviation of single strokes about their step's level."""
    trend_n: Array | None = None
    """(n,) change of the load from the first stroke of a dwell to its last, with torque's effect removed; None: not
    computed."""
    trend_se_n: Array | None = None
    """Its standard error; independent of the level's, since one is even in time and the other odd."""


def levels(series: Series, *loads_n: Array) -> list[PooledLevels]:
    """The pooled model of each load, (n, m), over all steps."""
    there, known = series.there, bool(np.isfinite(series.torque_nm[series.there]).all())
    torque_nm = series.torque_nm if known else np.zeros_like(series.t_s)
    columns = np.stack([np.ones_like(series.t_s), torque_nm, *loads_n], axis=-1)
    shift = np.append(0.0, columns[there][:, 1:].mean(axis=0))
    columns = np.where(there[..., None], columns - shift, 0.0)
    grid = tuple(each.ravel() for each in np.meshgrid(SWAY_SHARES, TAUS_S, indexing="ij"))
    gram, log_det = _whitened(series.t_s, columns, there, grid)
    found = []
    for load in range(LOAD, LOAD + len(loads_n)):
        own = [ONE, TORQUE, load]
        of_load = gram[:, :, own][..., own]
        found.append(_averaged(of_load, log_det, int(there.sum()), known, shift[own], grid))
    return found


def _whitened(t_s: Array, columns: Array, there: Bools, grid: tuple[Array, ...]) -> tuple[Array, Array]:
    """Gram matrices of the k whitened columns (G, n, k, k) and log determinants (G,) for unit variance.

    Kalman filter of an Ornstein-Uhlenbeck process observed in white noise, for all G grid points and n steps at once.
    Steps are treated as independent of each other: a move of the saddle and the settling lie between them.
    """
    share, tau_s = (each[:, None] for each in grid)
    mean = np.zeros((len(share), len(t_s), columns.shape[-1]))
    variance = np.broadcast_to(share, mean.shape[:2]).copy()
    white = np.empty((t_s.shape[1], *mean.shape))
    log_det = np.zeros(len(share))
    gaps_s = np.maximum(np.diff(t_s, axis=1, prepend=t_s[:, :1]), 0.0)
    for i in range(t_s.shape[1]):
        kept = np.exp(-gaps_s[:, i] / tau_s)
        variance = kept**2 * variance + share * (1.0 - kept**2)
        mean *= kept[..., None]
        spread = variance + (1.0 - share) + 1e-9
        new = (columns[:, i] - mean) * there[:, i, None]
        white[i] = new / np.sqrt(spread)[..., None]
        log_det += np.log(spread) @ there[:, i]
        gain = variance / spread
        mean += gain[..., None] * new
        variance = variance - gain * variance
    ordered = np.moveaxis(white, 0, -1)
    return ordered @ np.swapaxes(ordered, -1, -2), log_det


def _averaged(
    gram: Array, log_det: Array, strokes: int, known: bool, shift: Array, grid: tuple[Array, ...]
) -> PooledLevels:
    """Restricted likelihood of every grid point, and the averages with its weights."""
    n = gram.shape[1]
    own = gram[..., ONE, ONE]
    means = gram[..., ONE, :] / own[..., None]
    within = (gram - means[..., :, None] * gram[..., ONE, None, :]).sum(axis=1)
    known = known and bool(within[:, TORQUE, TORQUE].min() > 0.0)
    torque = within[:, TORQUE, TORQUE] if known else np.ones(len(own))
    effect = within[:, TORQUE, LOAD] / torque if known else np.zeros(len(own))
    freedom = strokes - n - int(known)
    variance = (within[:, LOAD, LOAD] - effect**2 * torque * known) / freedom
    variance = np.maximum(variance, 1e-12)
    log_p = -0.5 * (freedom * np.log(variance) + log_det + np.log(own).sum(axis=1) + np.log(torque))
    log_p = log_p - 0.5 * (np.log(grid[1] / TAU_S) / TAU_SPREAD) ** 2
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    level = np.einsum("g,gnk->nk", weight, means) + shift
    slope = float(weight @ effect)
    return PooledLevels(
        load_n=level[:, LOAD],
        torque_nm=level[:, TORQUE] if known or shift[TORQUE] else np.full(n, NAN),
        se_n=np.sqrt(weight @ (variance[:, None] / own)),
        torque_effect=slope if known else NAN,
        torque_effect_se=math.sqrt(weight @ (variance / torque + (effect - slope) ** 2)) if known else NAN,
        tau_s=float(np.exp(weight @ np.log(grid[1]))),
        sway=float(weight @ grid[0]),
        sd_n=math.sqrt(float(weight @ variance)),
    )


def smoothed(values: Array, there: Bools, strokes: int) -> Array:
    """Moving mean over `strokes` strokes along the last axis, shorter at the ends; 0 where there is none.

    The reading error of a stroke's torque is as large as its change since the last stroke. Used directly, it makes its
    own effect look small; a mean over some strokes does not.
    """
    padded = np.where(there, values, 0.0)
    reach = strokes // 2
    m = values.shape[1]
    low, high = np.maximum(np.arange(m) - reach, 0), np.minimum(np.arange(m) + reach + 1, m)
    sums = np.concatenate([np.zeros((len(values), 1)), np.cumsum(padded, axis=1)], axis=1)
    counts = np.concatenate([np.zeros((len(values), 1)), np.cumsum(there, axis=1)], axis=1)
    number = counts[:, high] - counts[:, low]
    return np.asarray((sums[:, high] - sums[:, low]) / np.maximum(number, 1.0))


def as_series(steps: Sequence[Sequence[tuple[float, ...]]]) -> tuple[Array, Bools]:
    """Rows of numbers of each step as one array (n, m, k), filled with 0, and which rows are there (n, m)."""
    counts = [len(rows) for rows in steps]
    there = np.arange(max(counts)) < np.array(counts)[:, None]
    width = len(steps[0][0])
    numbers = np.fromiter((number for rows in steps for row in rows for number in row), float, sum(counts) * width)
    filled = np.zeros((*there.shape, width))
    filled[there] = numbers.reshape(-1, width)
    return filled, there
