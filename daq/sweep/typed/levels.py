"""Each step's level from a few readings of a display: rounded, some seconds apart, with the ripple in them.

    reading = rounded(level of the step + error),   error normal with one standard deviation for the whole sweep

A display that shows steps of 2 h says of each reading only that it lay within h of it, so the probability of a reading
is that of an interval, not a density: where all readings of a step are the same, the level may lie anywhere within h
and a little beyond. The standard deviation holds sway, ripple and misreading together; it is averaged over with a prior
from riders in general, so that three readings that happen to agree do not make a step overconfident. Readings a few
seconds apart share some of the sway; the error of their mean is larger than that of independent ones by a factor that
depends on their times, and the scatter between them is smaller. Both are corrected with the assumed sway.

A damped display follows a change in a time d, like a low-pass of first order. It takes the ripple down to
1 / sqrt(1 + (2 pi f d)^2), f twice the cadence, and makes neighbouring readings more alike. So where d is known, it
says how much of a reading's error is new at each reading, and how far a reading is usually off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep.noise import Levels
from daq.values import NAN, Array, Reading, StepMean

SIZES_N = np.geomspace(0.4, 40.0, 48)
USUAL_N, USUAL_SPREAD = 5.0, 0.9
"""Median and spread of the log of the standard deviation of one reading beforehand: sway 3 to 8 N, undamped ripple 15
to 28 N more. Assumption."""
SWAY_TAUS_S = (2.0, 4.0, 8.0)
SWAY_SHARE = 0.7
"""Of the variance of a reading; the rest is ripple and misreading, new at each. Assumption, where nobody told the
damping."""
RIPPLE_N = 21.0
"""Root mean square of the pedals' ripple at the hands, 30 N in amplitude, before the display damps it. Assumption."""
RIPPLE_HZ = 3.0
"""Twice a turn at 90 rpm."""
MISREAD_N = 1.0
"""What a person adds to each reading. Assumption."""
POINTS = 61
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class ReadingPrior:
    """What is known of a reading's error before it is read."""

    usual_n: float = USUAL_N
    """Standard deviation of one reading, usually."""
    sway_share: float = SWAY_SHARE
    damping_s: float = 0.0
    """Time constant."""


UNTOLD = ReadingPrior()


def prior_of(damping_s: float) -> ReadingPrior:
    """A display of this time constant; NaN: nobody told it."""
    if math.isnan(damping_s):
        return UNTOLD
    ripple_n = RIPPLE_N / math.hypot(1.0, 2.0 * math.pi * RIPPLE_HZ * damping_s)
    own_n = math.hypot(ripple_n, MISREAD_N)
    return ReadingPrior(math.hypot(USUAL_N, own_n), USUAL_N**2 / (USUAL_N**2 + own_n**2), damping_s)


def levels_of(steps: Sequence[StepMean]) -> Levels:
    """Level and standard error of each step, N. Every step has to have readings."""
    prior = prior_of(steps[0].readings[0].damping_s)
    found = [_of_step(step.readings) for step in steps]
    log_size = -0.5 * (np.log(SIZES_N / prior.usual_n) / USUAL_SPREAD) ** 2 + sum(log for log, _, _ in found)
    weight = np.exp(log_size - log_size.max())
    weight /= weight.sum()
    load_n = np.array([float(weight @ mean) for _, mean, _ in found])
    own = [float(weight @ (variance + (mean - weight @ mean) ** 2)) for _, mean, variance in found]
    shared = [together([one.t_s for one in step.readings], prior) for step in steps]
    return Levels(
        load_n=load_n,
        torque_nm=np.array([step.crank_torque_nm for step in steps]),
        se_n=np.sqrt(np.array(own) * np.array(shared)),
        torque_effect=NAN,
        torque_effect_se=NAN,
        tau_s=SWAY_TAUS_S[1],
        sway=prior.sway_share,
        sd_n=float(weight @ SIZES_N),
    )


def together(t_s: Sequence[float], prior: ReadingPrior = UNTOLD) -> float:
    """How much larger the variance of a mean of readings at these times is than their scatter suggests.

    (1 + (k - 1) r) / (1 - r), r the mean correlation of two of them, over the assumed times of sway.
    """
    k = len(t_s)
    if k < 2:
        return 1.0
    apart = np.abs(np.subtract.outer(t_s, t_s))[~np.eye(k, dtype=bool)]
    r = prior.sway_share * float(np.mean([alike(apart, tau, prior.damping_s).mean() for tau in SWAY_TAUS_S]))
    return (1.0 + (k - 1) * r) / (1.0 - r)


def alike(apart_s: Array, tau_s: float, damping_s: float) -> Array:
    """Correlation of two readings so far apart: sway of correlation exp(-t / tau) behind a low-pass of first order.

    (tau exp(-t / tau) - d exp(-t / d)) / (tau - d), the autocorrelation of a second-order autoregression.
    """
    if damping_s <= 0.0:
        return np.exp(-apart_s / tau_s)
    d = damping_s if abs(damping_s - tau_s) > 1e-6 * tau_s else damping_s * (1.0 + 1e-6)
    return np.asarray((tau_s * np.exp(-apart_s / tau_s) - d * np.exp(-apart_s / d)) / (tau_s - d))


def _of_step(readings: Sequence[Reading]) -> tuple[Array, Array, Array]:
    """Log probability of a step's readings, mean and variance of its level, for each of SIZES_N; all levels alike."""
    from scipy.special import ndtr

    shown = np.array([one.hands_n for one in readings])
    half = np.array([one.half_n for one in readings])
    reach = 6.0 * SIZES_N / np.sqrt(len(shown)) + half.max() + 1e-9
    level = shown.mean() + np.linspace(-1.0, 1.0, POINTS)[:, None] * reach
    off = shown - level[..., None]
    size = SIZES_N[:, None]
    far, near = (np.abs(off) + half) / size, (np.abs(off) - half) / size
    # the upper tail, where a difference of probabilities near 1 would have no digits left
    inside = ndtr(-near) - ndtr(-far) if half.min() > 0.0 else np.exp(-0.5 * near**2) / size
    log_p = np.log(np.maximum(inside, TINY)).sum(axis=-1)
    top = log_p.max(axis=0)
    p = np.exp(log_p - top)
    total = p.sum(axis=0)
    mean = (p * level).sum(axis=0) / total
    variance = (p * (level - mean) ** 2).sum(axis=0) / total
    return top + np.log(total * reach), mean, variance
