"""Loads that show where they do not act: the cross-talk matrix and its inverse.

Weights are put on one place after another, and every cell is read each time:

    shown = matrix x true          crosstalk of a Calibration = the inverse: true = crosstalk x shown

A load on the bar must not show at the saddle; whatever does is corrected, and the residual goes into the budget. How
much a cell shows of its own load is better known from its own calibration than from a few placements, so each row is
taken relative to that; `own` tells when the two differ, which means that the assembly carries load past the cell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.values import Array

LITTLE = 0.005
"""Of a load: less cross-talk does not matter for an onset, and is what a cell may have where it was never measured.
Judgement, no source."""
WEAKEST = 0.05
"""Placements are refused if some combination of cells was loaded less than this fraction of the most loaded one."""


class CrossTalkError(ValueError):
    """These placements do not determine the cross-talk; the text says what is missing."""


@dataclass(frozen=True, eq=False, slots=True)
class CrossTalk:
    """k cells and their cross-talk."""

    names: tuple[str, ...]
    matrix: Array
    """(k, k) newtons that cell i shows for each newton on cell j."""
    standard_uncertainty: Array
    """(k, k) of matrix."""
    correction: Array
    """(k, k) inverse of matrix with each row over its diagonal."""
    residual_sd_n: Array
    """(k,) scatter of each cell about the matrix; as handed in, with no more placements than cells."""
    dof: int
    """0: no more placements than cells."""

    @property
    def rows(self) -> tuple[tuple[float, ...], ...]:
        """The correction as stored in a Calibration."""
        return tuple(tuple(float(value) for value in row) for row in self.correction)

    @property
    def own(self) -> tuple[float, ...]:
        """The fraction of its own load that each cell shows; 1 if the assembly carries nothing past it."""
        return tuple(float(value) for value in np.diag(self.matrix))

    @property
    def worst(self) -> tuple[str, str, float]:
        """(loaded cell, cell that shows it, fraction shown) of the largest cross-talk."""
        aside = np.abs(self.matrix - np.diag(np.diag(self.matrix)))
        i, j = np.unravel_index(int(aside.argmax()), aside.shape)
        return self.names[j], self.names[i], float(self.matrix[i, j])

    def left_over_n(self, loads_n: Sequence[float]) -> Array:
        """(k,) standard uncertainty that the correction leaves on each cell under these loads on all cells, N."""
        others = np.array(loads_n, dtype=np.float64)[None, :] * (1.0 - np.eye(len(self.names)))
        return np.asarray(np.sqrt(((self.standard_uncertainty * others) ** 2).sum(axis=1)))


def crosstalk(
    names: Sequence[str], true_n: npt.ArrayLike, shown_n: npt.ArrayLike, *, scatter_n: npt.ArrayLike = math.nan
) -> CrossTalk:
    """The cross-talk of m placements: true_n (m, k) known loads on each cell, shown_n (m, k) what each cell showed.

    By least squares over all placements, so repeats and several weights count. scatter_n (k,): standard deviation of
    a reading of each cell, N, for placements without repeats, which show no scatter themselves.
    Raises CrossTalkError if a cell was never loaded independently of the others, or shows others' loads more than its
    own.
    """
    true, shown = np.asarray(true_n, dtype=np.float64), np.asarray(shown_n, dtype=np.float64)
    k = len(names)
    if true.ndim != 2 or true.shape[1] != k or true.shape != shown.shape:
        raise CrossTalkError(f"expected true and shown loads of {k} cells, got {true.shape} and {shown.shape}")
    if not (np.isfinite(true).all() and np.isfinite(shown).all()):
        raise CrossTalkError("expected finite loads; a placement is missing or not a number")
    _check_placements(names, true)
    q, r = np.linalg.qr(true)
    matrix = np.linalg.solve(r, q.T @ shown).T
    _check_own(names, matrix)
    dof = len(true) - k
    rest = shown - true @ matrix.T
    sd = (
        np.sqrt((rest**2).sum(axis=0) / dof)
        if dof > 0
        else np.broadcast_to(np.asarray(scatter_n, dtype=np.float64), (k,))
    )
    spread = np.sqrt((np.linalg.inv(r) ** 2).sum(axis=1))
    uncertain = sd[:, None] * spread[None, :]
    return CrossTalk(tuple(names), matrix, uncertain, np.linalg.inv(matrix / np.diag(matrix)[:, None]), sd, dof)


def _check_placements(names: Sequence[str], true: Array) -> None:
    never = [name for name, loads in zip(names, true.T, strict=True) if not loads.any()]
    if never:
        raise CrossTalkError(f"no weight was put on {', '.join(never)}; load every cell at least once")
    sizes = np.linalg.svd(true, compute_uv=False)
    if len(true) < len(names) or sizes[-1] < WEAKEST * sizes[0]:
        raise CrossTalkError(
            f"the placements do not tell the cells apart: {len(true)} placements for {len(names)} cells, always loaded "
            "together. Put a weight right over each cell in turn"
        )


def _check_own(names: Sequence[str], matrix: Array) -> None:
    for i, name in enumerate(names):
        most = int(np.abs(matrix[:, i]).argmax())
        if most != i:
            raise CrossTalkError(
                f"a load on {name} shows most on {names[most]}: two cells are mixed up, in the wiring or in the order "
                "the weights were put on. Check, then repeat the placements"
            )
        if matrix[i, i] < 0.0:
            raise CrossTalkError(f"a load on {name} shows as a pull: its signal wires are exchanged, or the cell is")
