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


class Mixture:
    """N models of the same r readings, each with any of the first n of them shifted, or none."""

    def __init__(self, y: Array, variance: Array, design: Array, *, n: int, shifted: float, shift_n: float) -> None:
        self._n, self._weight = n, 1.0 / variance
        weighted = design * self._weight[..., None]
        inner = np.swapaxes(design, -1, -2) @ weighted + np.eye(design.shape[-1])
        root = np.linalg.cholesky(inner)
        self._off = np.linalg.inv(root) @ np.swapaxes(weighted, -1, -2)
        of_y = self._off @ y
        self._vy = self._weight * y - np.einsum("npr,np->nr", self._off, of_y)
        pull = (self._weight - np.sum(self._off**2, axis=-2))[:, :n]
        self._drop = 1.0 / (shift_n**-2 + pull)
        pulled = self._vy[:, :n]
        log_det = np.log(variance).sum(axis=-1) + 2.0 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(axis=-1)
        none = np.zeros((len(variance), 1))
        quadratic = (self._vy @ y)[:, None] - np.concatenate([pulled**2 * self._drop, none], axis=-1)
        log_dets = log_det[:, None] + np.concatenate([np.log1p(shift_n**2 * pull), none], axis=-1)
        prior = np.log(np.append(np.full(n, shifted / n), 1.0 - shifted))
        self.evidence = prior - 0.5 * (log_dets + quadratic)
        """(N, n + 1) log probability of y, without the 2 pi; last column: no reading is bad."""

    def with_rise(self, columns: Array, widths: tuple[float, ...]) -> Array:
        """(N, n + 1, C) log probability with d > 0 times each column added; density of d as in marginal.

        columns: (L, r, C), each set for N / L models in a row.
        """
        hh, hy = self._along(columns)
        return np.asarray(self.evidence[..., None] + log_rises(hh, hy, widths))

    def heaviest(
        self, columns: Array, widths: tuple[float, ...], log_prior: Array, lightest: float
    ) -> tuple[Ints, Ints, Ints, Array]:
        """The same for terms that hold weight: model, bad reading, column, and log, (R,) each.

        log_prior: (N,), added to the logs. lightest: a term below exp(-lightest) of the best of its column is left out.
        """
        hh, hy = self._along(columns)
        before = self.evidence + log_prior[:, None]
        bound = np.maximum(hy, 0.0)
        bound *= bound
        bound /= hh + max(widths) ** -2
        bound *= 0.5
        bound += before[..., None]
        kept = np.flatnonzero(bound > bound.max(axis=(0, 1)) - lightest)
        row, column = np.divmod(kept, bound.shape[2])
        model, reading = np.divmod(row, bound.shape[1])
        logs = log_rises(hh.ravel()[kept], hy.ravel()[kept], widths)
        logs += before.ravel()[row]
        return model, reading, column, logs

    def _along(self, columns: Array) -> tuple[Array, Array]:
        """h' V^-1 h and h' V^-1 y of each column h, (N, n + 1, C)."""
        sets, n = len(columns), self._n
        if len(self._vy) % sets:
            raise ValueError(
                f"columns: expected a set for each of N / L models, got {len(columns)} for {len(self._vy)}"
            )
        off, weight, vy, drop = (
            each.reshape(sets, -1, *each.shape[1:]) for each in (self._off, self._weight, self._vy, self._drop)
        )
        hh, hy = (np.empty((*vy.shape[:2], n + 1, columns.shape[-1])) for _ in range(2))
        vh = weight[..., None] * columns[:, None]
        vh -= np.swapaxes(off, -1, -2) @ (off @ columns[:, None])
        hh[:, :, n] = np.einsum("lrc,lnrc->lnc", columns, vh)
        hy[:, :, n] = (vy[:, :, None] @ columns[:, None])[:, :, 0]
        lowered = vh[:, :, :n] * drop[..., None]
        np.multiply(lowered, vh[:, :, :n], out=hh[:, :, :n])
        np.subtract(hh[:, :, n:], hh[:, :, :n], out=hh[:, :, :n])
        lowered *= vy[:, :, :n, None]
        np.subtract(hy[:, :, n:], lowered, out=hy[:, :, :n])
        return hh.reshape(-1, *hh.shape[2:]), hy.reshape(-1, *hy.shape[2:])
