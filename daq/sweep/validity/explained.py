"""How well each thing that may be wrong with a sweep explains its hand loads, against nothing being wrong.

The tests ask of one effect at a time whether it is there. Late tiring, a hand that moved, another seat on the way back
and visits that scatter are often all there by that measure, whichever it was, and each has another cure. So all are put
on one scale: the model of `effects.py` with each effect in turn, its size averaged over a prior instead of fitted, and
with scatter between visits, which is an explanation of its own. An effect that fits but needs a size nobody expects, or
a lucky start among many, is penalized by that averaging.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logit

from daq.sweep.bend import PRIORS
from daq.sweep.evidence import TORQUE_N_PER_NM, TORQUE_SPREAD
from daq.sweep.validity.effects import DRIFT_N_PER_MIN, errors_of
from daq.sweep.validity.hands import from_on, starts
from daq.sweep.validity.passes import ways_as_numbers
from daq.sweep.validity.seen import Seen
from daq.sweep.validity.slow import shapes
from daq.values import Array

BETWEEN_N = np.array([0.7, 1.5, 3.0, 5.0])
BETWEEN_SHARES = np.array([0.55, 0.2, 0.15, 0.1])
"""Scatter between visits, and how likely each is beforehand: like `WidePriors`, on fewer points."""
SCATTERED_FROM = 2
"""From this point of the two on, scatter is an explanation."""
LEVEL_N, SLOPE_N_PER_MM, ADDED_N_PER_MM = 100.0, 1.0, 1.5
"""Standard deviations of the curve's level, slope and added slope."""
TIRED_N, SHIFTED_N, PASS_N = 12.0, 10.0, 6.0
"""Standard deviations of a load gained over the sweep, of a shift that stays, of one pass against the other."""
NEVER = -1e9
SURE = (1e-6, 1.0 - 1e-6)
"""Probabilities are not told apart beyond."""


@dataclass(frozen=True, slots=True)
class Explained:
    """Of each explanation the natural log of how much more probable it makes the loads than a clean ride does."""

    tired: float = NEVER
    shifted: float = NEVER
    sat_otherwise: float = NEVER
    """On the way back."""
    slow: float = NEVER
    scattered: float = NEVER


def explained(sweep: Seen) -> Explained:
    """All explanations of one sweep. NEVER where order, times or errors are not known."""
    known = errors_of(sweep.levels, sweep.curve)
    if known is None or not sweep.timed:
        return Explained()
    effects = {
        "none": np.zeros((len(sweep.steps), 1)),
        "tired": TIRED_N * shapes(sweep),
        "shifted": SHIFTED_N * from_on(len(sweep.steps), starts(sweep)),
        "pass": PASS_N * ways_as_numbers(sweep)[:, None],
    }
    each = log_likelihoods(sweep, known[0], np.hstack(list(effects.values())))
    ends = np.cumsum([columns.shape[1] for columns in effects.values()])[:-1]
    alone, *with_effect = (_mean_of_logs(part) for part in np.split(each, ends, axis=1))
    clean, shares = float(alone[0]), np.log(BETWEEN_SHARES)
    tired, shifted, sat_otherwise = (float(np.logaddexp.reduce(shares + one)) - clean for one in with_effect)
    scattered = shares[SCATTERED_FROM:] - np.logaddexp.reduce(shares[SCATTERED_FROM:]) + alone[SCATTERED_FROM:]
    return Explained(
        tired,
        shifted,
        sat_otherwise,
        slow=float(np.logaddexp.reduce(shares + alone)) - clean + _slow_odds(sweep),
        scattered=float(np.logaddexp.reduce(scattered)) - clean,
    )


def _mean_of_logs(logs: Array) -> Array:
    """(s,) log of the mean over the columns, (s, k)."""
    return np.asarray(np.logaddexp.reduce(logs, axis=1)) - math.log(logs.shape[1])


def _slow_odds(sweep: Seen) -> float:
    """How the posterior changed the odds of a rider who follows slowly; it knows trends as well as means, and scatter.
    Only a load that changes with setback can follow."""
    if not sweep.answer.p_lag:
        return NEVER
    p_slow = sum(p for tau_s, p in sweep.answer.p_lag if tau_s > 0.0)
    return float(logit(np.clip(p_slow, *SURE)) - logit(PRIORS.lag)) + math.log(max(1.0 - sweep.answer.p_light, SURE[0]))


def log_likelihoods(sweep: Seen, errors_n: Array, columns: Array) -> Array:
    """(s, k) natural logs, for each scatter between visits and each column, (n, k), taken alone with a standard normal
    prior on its size. One column changes a normal density by a rank-one update."""
    levels = sweep.levels
    x = levels.forward_mm
    parts = [
        (np.ones_like(x), LEVEL_N, 0.0),
        (x - x.mean(), SLOPE_N_PER_MM, 0.0),
        (np.maximum(x - levels.bend_mm, 0.0), ADDED_N_PER_MM, 0.0),
    ]
    if levels.minutes is not None:
        parts.append((levels.minutes - levels.minutes.mean(), DRIFT_N_PER_MIN, 0.0))
    if levels.torque_nm is not None:
        parts.append((levels.torque_nm - levels.torque_nm.mean(), TORQUE_SPREAD, TORQUE_N_PER_NM))
    free = sum(sd**2 * np.outer(column, column) for column, sd, _ in parts)
    y = levels.hands_n - levels.hands_n.mean() - sum(mean * column for column, _, mean in parts)
    found = []
    for between_n in BETWEEN_N:
        factor = cho_factor(free + np.diag(errors_n**2 + between_n**2), lower=True)
        solved = cho_solve(factor, np.column_stack([y, columns]))
        plain = -0.5 * float(y @ solved[:, 0]) - float(np.log(np.diag(factor[0])).sum())
        weight = np.sum(columns * solved[:, 1:], axis=0)
        along = columns.T @ solved[:, 0]
        found.append(plain + 0.5 * (along**2 / (1.0 + weight) - np.log1p(weight)))
    return np.array(found)
