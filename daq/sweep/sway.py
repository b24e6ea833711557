"""How well each step is known, whatever the rider's sway looks like: one model of its wander, over the strokes of all
steps, averaged over kinds of sway.

    load = step's level + q (torque - mean torque) + sway + scatter

as in `noise.py`, with two differences that make the stated error right on riders the model was not made with. Sway is
one of three kinds with the same correlation time tau (a mean over a dwell T much longer than tau scatters by
sd sqrt(2 tau / T) for each of them): it is memoryless (Ornstein-Uhlenbeck), smooth (Matern 3/2), or oscillating (a
damped oscillation). Smooth sway modelled as memoryless is mistaken for slower sway, and the error comes out half as
large again. And strokes are means over their time, not samples, so the correlation is averaged over them; treated as
samples they look smoother, and again slower, than they are.

Strokes of a dwell are averaged into at most MOST_BLOCKS blocks first: the error of a mean over a dwell depends only on
the slow part of the sway. The Cholesky factor of one Toeplitz matrix for each point of the grid whitens all steps: a
shorter step needs only its first rows. Gaps from excluded strokes are closed up: blocks are uniform in counted riding
time.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from daq.sweep.noise import PooledLevels, Series
from daq.values import NAN, Array, Bools

MOST_BLOCKS = 20
TAUS_S = np.geomspace(0.8, 28.0, 7)
TAU_S, TAU_SPREAD = 3.5, 1.2
"""Prior median and spread of log(tau): wide, since the strokes say more. Riders' sway is given as 2 to 10 s."""
SWAY_N = 5.0
"""Standard deviation of a usual rider's sway at the hands: 3 to 8 N expected. Assumption."""
SCATTER_SHARES = (0.0, 0.05, 0.2, 0.5)
"""White fraction of the variance of single strokes; 1 is a single extra grid point, since it has no tau."""
WITHIN = np.array([-0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75])
WITHIN_WEIGHT = (1.0 - np.abs(WITHIN)) / (1.0 - np.abs(WITHIN)).sum()
"""The lag between two instants of two blocks, about that of their middles: a triangle, in seven points."""
ONE, TORQUE, TREND, LOAD = range(4)
LEAST_SECOND_MOMENT = 1e-12


def levels(series: Series, *loads_n: Array) -> list[PooledLevels]:
    """The pooled model of each load, (n, m), over all steps, with each step's trend within its dwell."""
    known = bool(np.isfinite(series.torque_nm[series.there]).all())
    torque_nm = series.torque_nm if known else np.zeros_like(series.t_s)
    columns = np.stack([np.ones_like(series.t_s), torque_nm, series.t_s, *loads_n], axis=-1)
    size = math.ceil(int(series.there.sum(axis=1).max()) / MOST_BLOCKS)
    columns, there = blocks_of(columns, series.there, size)
    shift = columns[there].mean(axis=0)
    shift[[ONE, TREND]] = 0.0
    columns = np.where(there[..., None], columns - shift, 0.0)
    columns[..., TREND] = _centred(columns[..., TREND], there)
    share, tau_s, factor = factors(there.shape[1], size * _stroke_s(series), size)
    log_prior = np.where(share < 1.0, -0.5 * (np.log(tau_s / TAU_S) / TAU_SPREAD) ** 2, 0.0)
    gram, log_det = _whitened(columns, there, factor)
    found = []
    for load in range(LOAD, LOAD + len(loads_n)):
        own = [ONE, TORQUE, TREND, load]
        of_load = gram[:, :, own][..., own]
        found.append(_averaged(of_load, log_det, log_prior, int(there.sum()), known, shift[own], share, tau_s))
    return found


def blocks_of(columns: Array, there: Bools, size: int) -> tuple[Array, Bools]:
    """Means over blocks of about `size` consecutive strokes of each step, and which blocks are there."""
    if size == 1:
        return columns, there
    counts = there.sum(axis=1)
    blocks = np.maximum(np.rint(counts / size).astype(int), 1)
    block = np.arange(int(blocks.max()))
    kept = block < blocks[:, None]
    begin = (np.cumsum(counts) - counts)[:, None] + block * counts[:, None] // blocks[:, None]
    edges = begin[kept]
    sums = np.add.reduceat(columns[there], edges, axis=0)
    means = np.zeros((*kept.shape, columns.shape[-1]))
    means[kept] = sums / np.diff(edges, append=int(counts.sum()))[:, None]
    return means, kept


def _centred(t_s: Array, there: Bools) -> Array:
    """Time from -0.5 at the first block of a step to 0.5 at its last."""
    number = there.sum(axis=1, keepdims=True)
    middle = (t_s * there).sum(axis=1, keepdims=True) / number
    span = np.where(there, t_s, -np.inf).max(axis=1) - np.where(there, t_s, np.inf).min(axis=1)
    return np.where(there, (t_s - middle) / np.maximum(span, 1e-9)[:, None], 0.0)


def _stroke_s(series: Series) -> float:
    """How long a stroke takes: the median from one to the next."""
    gaps_s = np.diff(series.t_s, axis=1)[series.there[:, 1:]]
    return float(np.median(gaps_s)) if len(gaps_s) else 1.0


@functools.lru_cache(maxsize=4)
def factors(blocks: int, block_s: float, size: int) -> tuple[Array, Array, Array]:
    """White share and tau of each of the G points of the grid, and the inverse Cholesky factor of its correlation."""
    tau_s = TAUS_S[:, None, None]
    lag = np.abs(block_s * (np.arange(blocks)[:, None] + WITHIN)) / tau_s
    forgets = np.exp(-lag)
    smooth = (1.0 + 2.0 * lag) * np.exp(-2.0 * lag)
    swings = forgets * (np.cos(lag) + np.sin(lag))
    of_lag = np.concatenate([kind @ WITHIN_WEIGHT for kind in (forgets, smooth, swings)])
    shares = np.append(np.repeat(SCATTER_SHARES, len(of_lag)), 1.0)
    sway = np.concatenate([np.tile(of_lag, (len(SCATTER_SHARES), 1)), np.zeros((1, blocks))])
    by_lag = (1.0 - shares)[:, None] * sway
    by_lag[:, 0] += shares * (1.0 / size)
    by_lag[:, 0] += 1e-9
    taus = np.append(np.tile(TAUS_S, 3 * len(SCATTER_SHARES)), TAU_S)
    return shares, taus, whitening(by_lag)


def whitening(by_lag: Array) -> Array:
    """The inverse Cholesky factor (G, m, m) of each symmetric Toeplitz matrix, from its first row, (G, m).

    Row i predicts reading i from those before and divides what is left by its standard deviation (Durbin's recursion;
    Golub & Van Loan, Matrix Computations, section 4.7, from memory): a third of the time of a general factorisation.
    """
    of_lag = by_lag.T.copy()
    m, g = of_lag.shape
    rows, variance = np.zeros((m, m, g)), np.empty((m, g))
    rows[0, 0], variance[0] = 1.0, of_lag[0]
    for i in range(1, m):
        before = rows[i - 1, :i]
        share = np.einsum("ig,ig->g", before, of_lag[1 : i + 1]) / variance[i - 1]
        rows[i, 1 : i + 1] = before
        rows[i, :i] -= share * before[::-1]
        variance[i] = variance[i - 1] * (1.0 - share**2)
    rows /= np.sqrt(variance)[:, None]
    return np.ascontiguousarray(np.moveaxis(rows, -1, 0))


def _whitened(columns: Array, there: Bools, factor: Array) -> tuple[Array, Array]:
    """Gram matrices of the k whitened columns (G, n, k, k) and log determinants (G,) for unit variance."""
    n, blocks, k = columns.shape
    white = factor @ np.moveaxis(columns, 1, 0).reshape(blocks, n * k)
    white = np.where(there.T[:, :, None], white.reshape(len(factor), blocks, n, k), 0.0).transpose(0, 2, 3, 1)
    log_det = -2.0 * np.log(np.diagonal(factor, axis1=1, axis2=2)) @ there.sum(axis=0)
    return white @ np.swapaxes(white, -1, -2), log_det


def _averaged(
    gram: Array, log_det: Array, log_prior: Array, rows: int, known: bool, shift: Array, share: Array, tau_s: Array
) -> PooledLevels:
    """Restricted likelihood (REML) of every grid point, and the averages with its weights."""
    n = gram.shape[1]
    own = gram[..., ONE, ONE]
    means = gram[..., ONE, :] / own[..., None]
    each = gram - means[..., :, None] * gram[..., ONE, None, :]
    within = each.sum(axis=1)
    known = known and bool(within[:, TORQUE, TORQUE].min() > 0.0)
    torque = within[:, TORQUE, TORQUE] if known else np.ones(len(own))
    effect = within[:, TORQUE, LOAD] / torque if known else np.zeros(len(own))
    freedom = rows - n - int(known)
    variance = np.maximum((within[:, LOAD, LOAD] - effect**2 * torque * known) / freedom, LEAST_SECOND_MOMENT)
    log_p = -0.5 * (freedom * np.log(variance) + log_det + np.log(own).sum(axis=1) + np.log(torque)) + log_prior
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    level = np.einsum("g,gnk->nk", weight, means) + shift
    slope = float(weight @ effect)
    long_enough = bool(each[..., TREND, TREND].min() > LEAST_SECOND_MOMENT)
    trend = np.maximum(each[..., TREND, TREND], LEAST_SECOND_MOMENT)
    trends = (each[..., TREND, LOAD] - effect[:, None] * each[..., TREND, TORQUE]) / trend
    return PooledLevels(
        load_n=level[:, LOAD],
        torque_nm=level[:, TORQUE] if known or shift[TORQUE] else np.full(n, NAN),
        se_n=np.sqrt(weight @ (variance[:, None] / own)),
        torque_effect=slope if known else NAN,
        torque_effect_se=math.sqrt(weight @ (variance / torque + (effect - slope) ** 2)) if known else NAN,
        tau_s=float(np.exp(weight @ np.log(tau_s))),
        sway=1.0 - float(weight @ share),
        sd_n=math.sqrt(float(weight @ variance)),
        trend_n=weight @ trends if long_enough else None,
        trend_se_n=np.sqrt(weight @ (variance[:, None] / trend)) if long_enough else None,
    )
