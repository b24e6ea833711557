"""The probability of readings under many linear models with normal priors at once, and under one bad reading in each.

    y = X g + shift of at most one of the first n readings + noise,    g standard normal

for each of N models: X (N, r, p) and the noise's variances (N, r) are its own. Closed form as in `marginal.py`, in
terms of the p columns instead of the r readings (Woodbury). When a breakpoint is moved over its grid, only models and
bad readings with some weight are carried through. The module knows nothing about newtons or setbacks.
"""

from __future__ import annotations

import numpy as np

from daq.sweep.marginal import log_rises
from daq.values import Array, Ints

LIGHTEST = 12.0
"""At each breakpoint a model and bad reading below exp(-12), 6e-6, of the best is left out of the sum."""


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
        """(N, n + 1) log probability of y, without the 2 pi; last column: no reading is bad."""

    def with_rise(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """(N, n + 1, C) log probability with d > 0 times each column (N, r, C) added; density of d as in marginal."""
        hh, hy = self._along(columns)
        return np.asarray(self.evidence[..., None] + log_rises(hh, hy, widths))

    def heaviest(
        self, columns: Array, widths: tuple[float, ...], log_prior: Array, lightest: float = LIGHTEST
    ) -> tuple[Ints, Ints, Ints, Array]:
        """The same for terms that hold weight: model, bad reading, column, and log, (R,) each.

        log_prior: (N,), added to the logs.
        """
        hh, hy = self._along(columns)
        bound = np.maximum(hy, 0.0)
        bound *= bound
        bound /= hh + max(widths) ** -2
        bound *= 0.5
        bound += (self.evidence + log_prior[:, None])[..., None]
        model, reading, column = np.nonzero(bound > bound.max(axis=(0, 1)) - lightest)
        logs = log_rises(hh[model, reading, column], hy[model, reading, column], widths)
        return model, reading, column, self.evidence[model, reading] + log_prior[model] + logs

    def _along(self, columns: Array) -> tuple[Array, Array]:
        """h' V^-1 h and h' V^-1 y of each column h, (N, n + 1, C)."""
        n = self._n
        vh = self._weight[..., None] * columns - np.swapaxes(self._off, -1, -2) @ (self._off @ columns)
        hh, hy = (np.empty((len(vh), n + 1, vh.shape[-1])) for _ in range(2))
        hh[:, n] = np.einsum("nrc,nrc->nc", columns, vh)
        hy[:, n] = (self._vy[:, None, :] @ columns)[:, 0]
        lowered = vh[:, :n] * self._drop[..., None]
        np.multiply(lowered, vh[:, :n], out=hh[:, :n])
        np.subtract(hh[:, n:], hh[:, :n], out=hh[:, :n])
        np.multiply(lowered, self._pulled[..., None], out=hy[:, :n])
        np.subtract(hy[:, n:], hy[:, :n], out=hy[:, :n])
        return hh, hy
