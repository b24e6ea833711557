"""Whether a point is off its own branch, rising or falling, of a cell with hysteresis: the loop of a real cell need not
be as open on either side, nor widest in the middle; neighbours on one branch are off together, and so are its series.
"""

from __future__ import annotations

import numpy as np

from daq.measure.calibration.coverage import coverage_factor
from daq.values import Array, Bools, Ints

LARGEST_HYSTERESIS = 0.05
"""Of the span: a point further off than this is no hysteresis, whatever its neighbours do. Cells have below 0.001, a
fixture that rubs a few hundredths (common practice, no source)."""
BY_CHANCE = 1e-4
"""Probability of a point so far off its branch by scatter alone."""
ENOUGH_DOF = 3
MOST_BENDS = 2


def off_own_branch(load_n: Array, reading: Array, falling: Bools, suspects: Ints, least: float) -> Ints:
    """Those of the suspects that are off the smooth curve through the other points of their branch, by at least `least`
    in readings and by more than scatter explains. Where the others do not tell that curve, or other readings of the
    same load reached the same way agree, a suspect is none.
    """
    design = _branches(load_n, falling)
    others = np.setdiff1d(np.arange(len(load_n)), suspects)
    found = []
    for one in suspects.tolist():
        alike = (load_n == load_n[one]) & (falling == falling[one])
        alike[one] = False
        if alike.any() and abs(reading[one] - np.median(reading[alike])) <= least:
            continue
        off = _off(design, reading, one, others, ENOUGH_DOF)
        if off is None:
            off = _off(design, reading, one, np.delete(np.arange(len(load_n)), one), 1)
        if off is not None and off[0] > max(least, off[1]):
            found.append(one)
    return np.array(found, dtype=np.int64)


def _off(design: Array, reading: Array, one: int, others: Ints, least_dof: int) -> tuple[float, float] | None:
    """How far a reading is off the curve through the others, and how far it may be by chance; None if they do not tell
    the curve there with this many degrees of freedom."""
    dof = len(others) - design.shape[1]
    if dof < least_dof or np.linalg.matrix_rank(design[others]) < design.shape[1]:
        return None
    tells = np.linalg.pinv(design[others])
    curve = tells @ reading[others]
    scatter = float(((reading[others] - design[others] @ curve) ** 2).sum()) / dof
    of_curve = float(((design[one] @ tells) ** 2).sum())
    chance = coverage_factor(dof, 1.0 - BY_CHANCE) * np.sqrt(scatter * (1.0 + of_curve))
    return abs(float(reading[one] - design[one] @ curve)), float(chance)


def _branches(load_n: Array, falling: Bools) -> Array:
    """(n, 2 + ...) a line, and for each branch a bend that vanishes at the ends and, with four loads between them or
    more, leans to either side."""
    share = (load_n - load_n.min()) / (load_n.max() - load_n.min())
    open_by = share * (1.0 - share)
    columns = [np.ones_like(share), share]
    for mine in (~falling, falling):
        between = len(np.unique(share[mine & (open_by > 0.0)]))
        columns += [np.where(mine, open_by * share**i, 0.0) for i in range(min(MOST_BENDS, max(1, between // 2)))]
    return np.column_stack(columns)
