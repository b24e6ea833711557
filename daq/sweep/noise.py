"""How well each step is known: one model of the wander of hand load, pooled over the strokes of all steps.

Strokes follow each other too closely to be independent, and a single step is too short to tell by how much: standard
errors made step by step are wrong by 2-7 times. So one model serves all steps. Within a step

    hands = step's level + q (torque - mean torque) + sway + scatter

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

from daq.values import NAN, Array, Bools, StepMean

SWAY_SHARES = np.array([0.0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.87, 0.95, 1.0])
TAUS_S = np.geomspace(0.7, 20.0, 9)
TAU_S, TAU_SPREAD = 4.0, 0.9
"""Median and spread of log(tau) before anything is seen: 2-10 s is what riders' sway is given as."""
LEAST_STROKES = 20
"""Strokes beyond one per step that the model needs to be worth more than nothing."""
ONE, TORQUE, HANDS, SADDLE = range(4)


@dataclass(frozen=True, eq=False, slots=True)
class Pooled:
    """What the strokes say of each step, (n,), and of the torque's effect within steps."""

    hands_n: Array
    saddle_n: Array
    torque_nm: Array
    """NaN where torque is unknown on any stroke."""
    se_n: Array
    """Standard error of hands_n at given torque."""
    torque_effect: float
    """N/Nm within steps; NaN without torque."""
    torque_effect_se: float
    saddle_se_n: Array
    correlation: float
    """Between what wanders at the hands and at the saddle, -1 to 1."""
    tau_s: float
    sway: float
    sd_n: float
    """Standard deviation of single strokes about their step's level."""


def pooled(steps: Sequence[StepMean]) -> Pooled | None:
    """The pooled model of all steps; None when a step came without strokes, or there are too few."""
    counts = np.array([len(step.strokes) for step in steps])
    if not len(steps) or counts.min() < 1 or counts.sum() - len(steps) < LEAST_STROKES:
        return None
    t_s, columns, there = _padded(steps, counts)
    known = bool(np.isfinite(columns[..., TORQUE][there]).all())
    shift = np.zeros(4)
    shift[1:] = columns[there][:, 1:].mean(axis=0)
    if not known:
        columns[..., TORQUE], shift[TORQUE] = 0.0, 0.0
    columns[..., 1:] -= shift[1:]
    columns[~there] = 0.0
    sway, tau_s = (grid.ravel() for grid in np.meshgrid(SWAY_SHARES, TAUS_S, indexing="ij"))
    gram, log_det = _whitened(t_s, columns, there, sway, tau_s)
    return _summed_up(gram, log_det, int(counts.sum()), known, shift, sway, tau_s)


def _padded(steps: Sequence[StepMean], counts: Array) -> tuple[Array, Array, Bools]:
    """Stroke times (n, m), columns (n, m, 4), and which are there (n, m), filled up to the longest step."""
    n, m = len(steps), int(counts.max())
    t_s, columns, there = np.zeros((n, m)), np.ones((n, m, 4)), np.arange(m) < counts[:, None]
    for i, step in enumerate(steps):
        k = len(step.strokes)
        t_s[i, :k] = [stroke.mid_s for stroke in step.strokes]
        columns[i, :k, 1:] = [(s.crank_torque_nm, s.hands_n, s.saddle_n) for s in step.strokes]
    return t_s, columns, there


def _whitened(t_s: Array, columns: Array, there: Bools, sway: Array, tau_s: Array) -> tuple[Array, Array]:
    """Gram matrices of the whitened columns (G, n, 4, 4) and log determinants (G,) for unit variance.

    Kalman filter of an Ornstein-Uhlenbeck process seen through white noise, for all G grid points and n steps at once.
    Steps are taken as independent of each other: a move of the saddle and the settling lie between.
    """
    share = sway[:, None]
    mean = np.zeros((len(sway), len(t_s), 4))
    variance = np.broadcast_to(share, mean.shape[:2]).copy()
    white = np.empty((t_s.shape[1], *mean.shape))
    log_det = np.zeros(len(sway))
    gaps_s = np.diff(t_s, axis=1, prepend=t_s[:, :1])
    for i in range(t_s.shape[1]):
        kept = np.exp(-np.maximum(gaps_s[:, i], 0.0) / tau_s[:, None])
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


def _summed_up(
    gram: Array, log_det: Array, strokes: int, known: bool, shift: Array, sway: Array, tau_s: Array
) -> Pooled:
    """Restricted likelihood of every grid point, and the averages with its weights."""
    n = gram.shape[1]
    own = gram[..., ONE, ONE]
    levels = gram[..., ONE, :] / own[..., None]
    within = (gram - levels[..., :, None] * gram[..., ONE, None, :]).sum(axis=1)
    torque = within[:, TORQUE, TORQUE]
    effect = within[:, TORQUE, :] / torque[:, None] if known else np.zeros((len(sway), 4))
    left = within - effect[:, :, None] * within[:, TORQUE, None, :]
    freedom = strokes - n - int(known)
    variance = left[:, HANDS, HANDS] / freedom
    log_p = -0.5 * (freedom * np.log(variance) + log_det + np.log(own).sum(axis=1))
    log_p += -0.5 * np.log(torque) if known else 0.0
    log_p -= 0.5 * (np.log(tau_s / TAU_S) / TAU_SPREAD) ** 2
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    means = np.einsum("g,gnk->nk", weight, levels) + shift
    slope = float(weight @ effect[:, HANDS])
    slope_variance = weight @ (variance / torque + (effect[:, HANDS] - slope) ** 2) if known else NAN
    saddle_variance = left[:, SADDLE, SADDLE] / freedom
    both = math.sqrt(float(weight @ variance) * float(weight @ saddle_variance))
    return Pooled(
        hands_n=means[:, HANDS],
        saddle_n=means[:, SADDLE],
        torque_nm=means[:, TORQUE] if known else np.full(n, NAN),
        se_n=np.sqrt(weight @ (variance[:, None] / own)),
        torque_effect=slope if known else NAN,
        torque_effect_se=math.sqrt(slope_variance) if known else NAN,
        saddle_se_n=np.sqrt(weight @ (saddle_variance[:, None] / own)),
        correlation=float(weight @ left[:, HANDS, SADDLE]) / freedom / both if both > 0.0 else 0.0,
        tau_s=float(np.exp(weight @ np.log(tau_s))),
        sway=float(weight @ sway),
        sd_n=math.sqrt(float(weight @ variance)),
    )
