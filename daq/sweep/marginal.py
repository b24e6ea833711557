"""The probability of n readings under a linear model with normal priors, for every scale of the errors at once.

    y = X g + shift of at most one reading + noise,   g normal,   noise i normal with sd scale * noise_i

Everything is integrated in closed form: y is normal with covariance V = scale^2 diag(noise^2) + X P X', and a shift of
reading j adds a term of rank one to it. One more column with its own coefficient d can be added, for many columns at
once: that is how a breakpoint is moved over its grid without a new matrix. Knows nothing of breakpoints or newtons.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from daq.values import Array

_Term: TypeAlias = Callable[[Array, Array, float], Array]


def known_scales(spread: float) -> tuple[Array, Array]:
    """Grid of the common factor on given standard errors, and its log prior weights, (K,) each.

    log(factor) has Student's t with 3 degrees of freedom and this spread: errors are rarely far too small, but may be.
    """
    scale = np.geomspace(0.6, 5.0, 12)
    t = np.log(scale) / spread
    return scale, -2.0 * np.log1p(t * t / 3.0)


def log_sum(logs: Array) -> float:
    """log of the sum of exp(logs), over all of them."""
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).sum()))


class Marginal:
    """The steps seen through V^-1 for every scale (K) and kind of slope (M), with every step in turn shifted."""

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
        """(K, M, n + 1) log probability of y without an extra column, its 2 pi left out; the last entry: no shift."""

    def with_rise(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """log probability with d > 0 times each column added, (K, M, n + 1, C), averaged over widths.

        d has the density 2 d^2/w^2 N(d; 0, w^2), twice the half normal's and 0 at 0.
        """

        def term(hh: Array, hy: Array, width: float) -> Array:
            stiff = hh + width**-2
            u = hy / np.sqrt(stiff)
            return np.asarray(_log_second_moment(u) - 1.5 * np.log(stiff * width**2) + math.log(2.0))

        return self._averaged(columns, widths, term)

    def with_bend(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """The same with d of either sign, normal with standard deviation w."""

        def term(hh: Array, hy: Array, width: float) -> Array:
            stiff = hh + width**-2
            return np.asarray(0.5 * hy**2 / stiff - 0.5 * np.log(stiff * width**2))

        return self._averaged(columns, widths, term)

    def _averaged(
        self, columns: Array, widths: tuple[float, ...], term: Callable[[Array, Array, float], Array]
    ) -> Array:
        vh = self._inverse @ columns
        hh = np.sum(columns * vh, axis=-2)[..., None, :]
        hy = (self._vy @ columns)[..., None, :]
        drop = self._drop[..., None]
        hh = hh - np.concatenate([vh**2 * drop, np.zeros_like(hh)], axis=-2)
        hy = hy - np.concatenate([vh * (self._vy[..., None] * drop), np.zeros_like(hy)], axis=-2)
        total = term(hh, hy, widths[0])
        for width in widths[1:]:
            total = np.logaddexp(total, term(hh, hy, width))
        return np.asarray(self.evidence[..., None] + total - math.log(len(widths)))


def _log_second_moment(u: Array) -> Array:
    """log of exp(u^2/2) times the integral of z^2 over z > 0 under a normal of mean u and variance 1."""
    from scipy.special import ndtr

    near = np.maximum(u, -8.0)
    whole = np.log((near**2 + 1.0) * ndtr(near) + near * np.exp(-0.5 * near**2) / math.sqrt(2.0 * math.pi))
    far = math.log(2.0 / math.sqrt(2.0 * math.pi)) - 3.0 * np.log(np.maximum(-u, 8.0))
    return np.asarray(np.where(u > -8.0, whole + 0.5 * near**2, far))


def _zero(like: Array) -> Array:
    return np.zeros((*like.shape[:-1], 1))
