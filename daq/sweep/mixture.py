"""The probability of readings under many linear models with normal priors at once, and under one bad reading in each.

    y = X g + shift of at most one of the first n readings + noise,    g standard normal

for each of N models: X (N, r, p) and the noise's variances (N, r) are its own. Closed form as in `marginal.py`, by the
p columns instead of the r readings (Woodbury). Where a breakpoint is moved over its grid, only those models and bad
readings are carried to the end that hold any weight at any breakpoint. Knows nothing of newtons or setbacks.
"""

from __future__ import annotations

import numpy as np

from daq.sweep.marginal import log_rises
from daq.values import Array, Ints

LIGHTEST = 16.0
"""A model and bad reading below exp(-16), 1e-7, of the best at every breakpoint is left out of the sum."""


class Mixture:
    """N models of the same r readings, each with any of the first n of them shifted, or none."""

    def __init__(self, y: Array, variance: Array, design: Array, *, n: int, shifted: float, shift_n: float) -> None:
        self._n, self._weight = n, 1.0 / variance
        weighted = design * self._weight[..., None]
        inner = np.swapaxes(design, -1, -2) @ weighted + np.eye(design.shape[-1])
        root = np.linalg.cholesky(inner)
        self._off = np.linalg.solve(root, np.swapaxes(weighted, -1, -2))
        of_y = self._off @ y
        self._vy = self._weight * y - np.einsum("npr,np->nr", self._off, of_y)
        pull = (self._weight - np.sum(self._off**2, axis=-2))[:, :n]
        self._drop = 1.0 / (shift_n**-2 + pull)
        self._pulled = self._vy[:, :n]
        log_det = np.log(variance).sum(axis=-1) + 2.0 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)
        none = np.zeros((len(variance), 1))
        quadratic = (self._vy @ y)[:, None] - np.concatenate([self._pulled**2 * self._drop, none], axis=-1)
        log_dets = log_det[:, None] + np.concatenate([np.log1p(shift_n**2 * pull), none], axis=-1)
        prior = np.log(np.append(np.full(n, shifted / n), 1.0 - shifted))
        self.evidence = prior - 0.5 * (log_dets + quadratic)
        """(N, n + 1) log probability of y, its 2 pi left out; the last column: no reading is bad."""

    def with_rise(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """(N, n + 1, C) log probability with d > 0 times each column (N, r, C) added; density of d as in marginal."""
        hh, hy = self._along(columns)
        return np.asarray(self.evidence[..., None] + log_rises(hh, hy, widths))

    def heaviest(
        self, columns: Array, widths: tuple[float, ...], log_prior: Array, lightest: float = LIGHTEST
    ) -> tuple[Ints, Ints, Array]:
        """The same for those models and bad readings that hold weight: which model, which reading (R,), logs (R, C).

        log_prior: (N,), added to the logs.
        """
        hh, hy = self._along(columns)
        stiff = hh + max(widths) ** -2
        bound = 0.5 * np.maximum(hy, 0.0) ** 2 / stiff + self.evidence[..., None] + log_prior[:, None, None]
        model, reading = np.nonzero((bound > bound.max(axis=(0, 1)) - lightest).any(axis=-1))
        logs = log_rises(hh[model, reading], hy[model, reading], widths)
        return model, reading, (self.evidence[model, reading] + log_prior[model])[:, None] + logs

    def _along(self, columns: Array) -> tuple[Array, Array]:
        """h' V^-1 h and h' V^-1 y of each column h, (N, n + 1, C)."""
        across = self._off @ columns
        vh = self._weight[..., None] * columns - np.swapaxes(self._off, -1, -2) @ across
        hh = np.sum(columns * vh, axis=-2)[:, None, :]
        hy = np.einsum("nr,nrc->nc", self._vy, columns)[:, None, :]
        vh = vh[:, : self._n]
        lowered = vh * self._drop[..., None]
        none = np.zeros_like(hh)
        less = np.concatenate([vh * lowered, none], axis=1)
        return hh - less, hy - np.concatenate([lowered * self._pulled[..., None], none], axis=1)
