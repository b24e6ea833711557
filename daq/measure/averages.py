"""The mean of a correlated series, and its standard error.

Riders sway: s / sqrt(n) is too small by a factor of 2 to 7.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.values import Array


@dataclass(frozen=True, slots=True)
class Average:
    """A mean with its standard error, in the unit of the series; NaN with too little data."""

    mean: float
    se: float
    n: int


def average(x: Array) -> Average:
    """Mean of a stationary series (n,) and its standard error, s sqrt(tau / n). NaN values are left out.

    tau, values per independent value, is the larger of two estimates, because each alone can be too low: the summed
    autocorrelation misses slow wander behind a fast oscillation, the autoregressive one the correlation of a short
    series. The standard error is NaN for n < 4.
    """
    x = np.asarray(x, dtype=np.float64)
    x = x[np.isfinite(x)]
    n = len(x)
    if n < 4:
        return Average(float(x.mean()) if n else math.nan, math.nan, n)
    covariance = _autocovariance(x)
    if covariance[0] <= 0.0:
        return Average(float(x.mean()), 0.0, n)
    rho = covariance / covariance[0]
    tau = float(max(_summed(rho), _autoregressive(rho)))
    return Average(float(x.mean()), float(x.std(ddof=1)) * math.sqrt(tau / n), n)


def _autocovariance(x: Array) -> Array:
    """At lags 0 to n - 1, each over n."""
    size = 1 << (2 * len(x) - 1).bit_length()
    spectrum = np.fft.rfft(x - x.mean(), size)
    return np.asarray(np.fft.irfft(spectrum * np.conj(spectrum), size)[: len(x)] / len(x))


def _summed(rho: Array) -> float:
    """1 + 2 sum of rho, in pairs of lags while a pair is positive, each limited to the previous one.

    The initial monotone sequence of Geyer 1992, Practical Markov chain Monte Carlo, Stat Sci 7:473-483.
    """
    pairs = rho[: len(rho) - len(rho) % 2].reshape(-1, 2).sum(axis=1)
    ended = np.flatnonzero(pairs <= 0.0)
    kept = np.minimum.accumulate(pairs[: ended[0]] if len(ended) else pairs)
    return max(2.0 * float(kept.sum()) - 1.0, 1.0 / len(rho))


def _autoregressive(rho: Array) -> float:
    """Spectrum at frequency 0 of the autoregression with the least AIC, over the variance.

    Levinson-Durbin on the Yule-Walker equations, orders up to 10 log10 n; Heidelberger & Welch 1981, Commun ACM
    24:233-245, use the spectrum at 0 for the same end.
    """
    n = len(rho)
    coefficients, variance = np.zeros(0), 1.0
    least, tau = math.inf, 1.0
    for order in range(min(n // 4, int(10.0 * math.log10(n))) + 1):
        if order:
            reflection = (rho[order] - coefficients @ rho[order - 1 : 0 : -1]) / variance
            coefficients = np.append(coefficients - reflection * coefficients[::-1], reflection)
            variance *= 1.0 - reflection**2
        if variance <= 0.0:
            break
        aic = n * math.log(variance) + 2.0 * (order + 1)
        if aic < least:
            least, tau = aic, variance / (1.0 - float(coefficients.sum())) ** 2
    return tau
