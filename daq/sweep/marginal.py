"""The probability of n readings under a linear model with normal priors, for every scale of the errors at once.

    y = X g + shift of at most one reading + noise,   g normal,   noise i normal with sd scale * noise_i

Everything is integrated in closed form: y is normal with covariance V = scale^2 diag(noise^2) + X P X', and a shift of
reading j adds a term of rank one to it. One more column with its own coefficient d can be added, for many columns at
once: this moves a breakpoint over its grid without a new matrix. The module knows nothing about breakpoints or newtons.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

import numpy as np

from daq.values import Array

NEAR = -8.0
"""Above it the second moment is computed directly from its definition."""
SCALES_AT_ONCE = 3
"""Small enough that the intermediate results of a sum over 100 breakpoints stay in a core's own cache."""


def known_scales(spread: float) -> tuple[Array, Array]:
    """Grid of the common factor on given standard errors, and its log prior weights, (K,) each.

    log(factor) has Student's t with 3 degrees of freedom and this spread: stated errors are rarely far too small, but
    may be.
    """
    scale = np.geomspace(0.6, 5.0, 12)
    t = np.log(scale) / spread
    return scale, -2.0 * np.log1p(t * t / 3.0)


def log_sum(logs: Array) -> float:
    """log of the sum of exp(logs), over all of them."""
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).sum()))


class Marginal:
    """The steps under V^-1 for every scale (K) and kind of slope (M), with each step shifted in turn."""

    def __init__(
        self, y: Array, noise: Array, scale: Array, designs: list[Array], *, shifted: float, shift_n: float
    ) -> None:
        n = len(y)
        spread = np.stack([design @ design.T for design in designs])
        v = (scale**2)[:, None, None, None] * np.diag(noise**2) + spread
        root = np.linalg.cholesky(v)
        self._inverse = np.linalg.inv(v)
        log_det = 2.0 * np.sum(np.log(np.diagonal(root, axis1=-2, axis2=-1)), axis=-1)
        self._vy = self._inverse @ y
        pull = np.diagonal(self._inverse, axis1=-2, axis2=-1)
        self._drop = 1.0 / (shift_n**-2 + pull)
        quadratic = (self._vy @ y)[..., None] - np.concatenate([self._vy**2 * self._drop, _zero(self._vy)], axis=-1)
        log_dets = log_det[..., None] + np.concatenate([np.log1p(shift_n**2 * pull), _zero(pull)], axis=-1)
        prior = np.log(np.append(np.full(n, shifted / n), 1.0 - shifted))
        self.evidence = prior - 0.5 * (log_dets + quadratic)
        """(K, M, n + 1) log probability of y without an extra column, without the 2 pi; last entry: no shift."""

    def with_rise(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """log probability with d > 0 times each column added, (K, M, n + 1, C), averaged over widths.

        d has the density 2 d^2/w^2 N(d; 0, w^2), twice the half normal's and 0 at 0.
        """

        hh, hy = self._along(columns)
        parts = (slice(k, k + SCALES_AT_ONCE) for k in range(0, len(hh), SCALES_AT_ONCE))
        rises = np.concatenate([log_rises(hh[part], hy[part], widths) for part in parts])
        return np.asarray(self.evidence[..., None] + rises)

    def with_bend(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """The same with d of either sign, normal with standard deviation w."""
        hh, hy = self._along(columns)
        powers = [0.5 * hy**2 / (hh + width**-2) for width in widths]
        factors = [1.0 / np.sqrt(hh * width**2 + 1.0) for width in widths]
        return np.asarray(self.evidence[..., None] + _log_mean(powers, factors))

    def _along(self, columns: Array) -> tuple[Array, Array]:
        """h' V^-1 h and h' V^-1 y of each column h, (K, M, n + 1, C)."""
        vh = self._inverse @ columns
        hh = np.sum(columns * vh, axis=-2)[..., None, :]
        hy = (self._vy @ columns)[..., None, :]
        drop = self._drop[..., None]
        hh = hh - np.concatenate([vh**2 * drop, np.zeros_like(hh)], axis=-2)
        hy = hy - np.concatenate([vh * (self._vy[..., None] * drop), np.zeros_like(hy)], axis=-2)
        return hh, hy


def log_rises(hh: Array, hy: Array, widths: tuple[float, ...]) -> Array:
    """log of the mean over widths w of 2 (s w^2)^-3/2 exp(u^2/2) m(u), with s = hh + w^-2 and u = hy / sqrt(s).

    m(u) is the integral of z^2 over z > 0 under a normal of mean u and variance 1.
    """
    return _log_mean(*zip(*(_rise(hh, hy, width) for width in widths), strict=True))


def _log_mean(powers: Sequence[Array], factors: Sequence[Array]) -> Array:
    """log of the mean of factor exp(power). The powers of e are summed before one logarithm is taken of all: logarithms
    are most of the cost of an answer."""
    top = functools.reduce(np.maximum, powers)
    total = sum(factor * np.exp(power - top) for power, factor in zip(powers, factors, strict=True))
    return np.asarray(top + np.log(total * (1.0 / len(powers))))


def _rise(hh: Array, hy: Array, width: float) -> tuple[Array, Array]:
    """The exponent and the factor for one width; in the far tail, where m(u) cancels, from its asymptote."""
    from scipy.special import ndtr

    stiff = hh + width**-2
    u = hy / np.sqrt(stiff)
    near = np.maximum(u, NEAR)
    power = 0.5 * near**2
    factor = (near**2 + 1.0) * ndtr(near) + near * np.exp(-power) / math.sqrt(2.0 * math.pi)
    if u.min() < NEAR:
        far = u < NEAR
        power[far] = 0.0
        factor[far] = 2.0 / math.sqrt(2.0 * math.pi) / -(u[far] * u[far] * u[far])
    flat = stiff * width**2
    return power, 2.0 * factor / (flat * np.sqrt(flat))


def _zero(like: Array) -> Array:
    return np.zeros((*like.shape[:-1], 1))
