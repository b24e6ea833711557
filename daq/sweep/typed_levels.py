"""Each step's level from a few readings of a display: rounded, some seconds apart, with the ripple in them.

    reading = rounded(level of the step + error),   error normal with one standard deviation for the whole sweep

A display that shows steps of 2 h says of each reading only that it lay within h of it, so the probability of a reading
is that of an interval, not a density: where all readings of a step are the same, the level may lie anywhere within h
and a little beyond. The standard deviation holds sway, ripple and misreading together; it is averaged over with a prior
from riders in general, so that three readings that happen to agree do not make a step overconfident. Readings a few
seconds apart share some of the sway; the error of their mean is larger than that of independent ones by a factor that
depends on their times, and the scatter between them is smaller. Both are corrected with the assumed sway.

What the display does to the sway. Sway of variance s^2 and correlation exp(-t / tau) has the spectrum
2 s^2 tau / (1 + (2 pi f tau)^2); a damped display follows a change in a time d, like a low-pass of first order, and
multiplies it by 1 / (1 + (2 pi f d)^2). By partial fractions, what is shown has

    covariance at lag t = s^2 tau (tau exp(-t / tau) - d exp(-t / d)) / (tau^2 - d^2),    variance s^2 tau / (tau + d)

(Wiener-Khinchin; a continuous autoregression of second order). The ripple, at f twice the cadence, is taken down to
1 / sqrt(1 + (2 pi f d)^2). So where d is known, it says how far a reading is usually off, and how much of that is new
at each reading.

What the readings' scatter tells. With r the mean correlation of two readings of a step and v the variance of one, the
variance of k readings about their own mean is expected to be v (1 - r), and their mean has v (1 + (k - 1) r) / k. The
likelihood sees the first, so the prior of the standard deviation is centred there, and the error of the mean is the
scatter's times (1 + (k - 1) r) / (1 - r).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.sweep.noise import PooledLevels
from daq.sweep.sway import SWAY_N
from daq.values import NAN, Array, Reading, StepMean

SIZES_N = np.geomspace(0.4, 40.0, 48)
SIZE_SPREAD = 0.9
"""Of the log of that standard deviation beforehand: riders sway by 3 to 8 N, pedals differ as much. Assumption."""
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

    own_n: float
    """Standard deviation of what is new at each reading: ripple as shown, and misreading."""
    damping_s: float = 0.0
    """Time constant of the display."""

    @property
    def usual_n(self) -> float:
        """Standard deviation of one reading about its step's level."""
        return math.hypot(math.sqrt(self._shared_n2(np.zeros(1))), self.own_n)

    def alike(self, t_s: Sequence[float]) -> float:
        """Mean correlation of two of the readings at these times; 0 of a single one."""
        k = len(t_s)
        if k < 2:
            return 0.0
        apart_s = np.abs(np.subtract.outer(t_s, t_s))[~np.eye(k, dtype=bool)]
        return self._shared_n2(apart_s) / self.usual_n**2

    def _shared_n2(self, apart_s: Array) -> float:
        """Mean covariance of two readings so far apart, over the assumed times of sway."""
        return SWAY_N**2 * float(np.mean([shown(apart_s, tau_s, self.damping_s).mean() for tau_s in SWAY_TAUS_S]))


UNTOLD = ReadingPrior(SWAY_N * math.sqrt(1.0 / SWAY_SHARE - 1.0))


def prior_of(damping_s: float) -> ReadingPrior:
    """A display of this time constant; NaN: nobody told it."""
    if math.isnan(damping_s):
        return UNTOLD
    ripple_n = RIPPLE_N / math.hypot(1.0, 2.0 * math.pi * RIPPLE_HZ * damping_s)
    return ReadingPrior(math.hypot(ripple_n, MISREAD_N), damping_s)


def levels_of(steps: Sequence[StepMean]) -> PooledLevels:
    """Level and standard error of each step, N. Every step has to have readings."""
    prior = prior_of(steps[0].readings[0].damping_s)
    found = [_of_step(step.readings) for step in steps]
    times_s = [[one.t_s for one in step.readings] for step in steps]
    usual_n = float(np.mean([scatter_n(each, prior) for each in times_s]))
    log_size = -0.5 * (np.log(SIZES_N / usual_n) / SIZE_SPREAD) ** 2 + sum(log for log, _, _ in found)
    weight = np.exp(log_size - log_size.max())
    weight /= weight.sum()
    load_n = np.array([float(weight @ mean) for _, mean, _ in found])
    own = [float(weight @ (variance + (mean - weight @ mean) ** 2)) for _, mean, variance in found]
    return PooledLevels(
        load_n=load_n,
        torque_nm=np.array([step.crank_torque_nm for step in steps]),
        se_n=np.sqrt(np.array(own) * np.array([together(each, prior) for each in times_s])),
        torque_effect=NAN,
        torque_effect_se=NAN,
        tau_s=SWAY_TAUS_S[1],
        sway=1.0 - (prior.own_n / prior.usual_n) ** 2,
        sd_n=float(weight @ SIZES_N),
    )


def scatter_n(t_s: Sequence[float], prior: ReadingPrior) -> float:
    """Standard deviation to be expected of readings at these times about their own mean."""
    return prior.usual_n * math.sqrt(1.0 - prior.alike(t_s))


def together(t_s: Sequence[float], prior: ReadingPrior = UNTOLD) -> float:
    """How much larger the variance of a mean of readings at these times is than their scatter suggests."""
    r = prior.alike(t_s)
    return (1.0 + (len(t_s) - 1) * r) / (1.0 - r)


def shown(apart_s: Array, tau_s: float, damping_s: float) -> Array:
    """Covariance of two readings so far apart, of sway of variance 1, correlation exp(-t / tau) and no ripple."""
    if damping_s <= 0.0:
        return np.exp(-apart_s / tau_s)
    d = damping_s if abs(damping_s - tau_s) > 1e-6 * tau_s else damping_s * (1.0 + 1e-6)
    covariance = tau_s * (tau_s * np.exp(-apart_s / tau_s) - d * np.exp(-apart_s / d)) / (tau_s**2 - d**2)
    return np.asarray(covariance)


def _of_step(readings: Sequence[Reading]) -> tuple[Array, Array, Array]:
    """Log probability of a step's readings, mean and variance of its level, for each of SIZES_N; all levels alike."""
    from scipy.special import ndtr

    read_n = np.array([one.hands_n for one in readings])
    half = np.array([one.half_n for one in readings])
    reach = 6.0 * SIZES_N / np.sqrt(len(read_n)) + half.max() + 1e-9
    level = read_n.mean() + np.linspace(-1.0, 1.0, POINTS)[:, None] * reach
    off = read_n - level[..., None]
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
