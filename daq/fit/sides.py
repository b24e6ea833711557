"""Left against right, nose against rear, where two cells share a load: a difference, never a diagnosis."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.fit.ridden import Ridden
from daq.measure.balance import CELLS_U_N
from daq.measure.mechanics import Side, side
from daq.measure.ripple_trend import trend
from daq.rig import Rig
from daq.values import Array


@dataclass(frozen=True, slots=True)
class Sided:
    """Two cells of one load over a sweep."""

    first: str
    second: str
    over: Side
    """First minus second, mean of the sweep."""
    trend: str
    """How it changes as the saddle goes back."""


def sides(sweep: Ridden, rig: Rig) -> tuple[Sided, ...]:
    """For hands and saddle, each where it has exactly two cells."""
    found = []
    for role in ("hands", "saddle"):
        names = [channel.name for channel in rig.channels if channel.role == role]
        if len(names) == 2 and sweep.steps and all(step.strokes for step in sweep.steps):
            found.append(_sided(sweep, rig, names[0], names[1]))
    return tuple(found)


def _sided(sweep: Ridden, rig: Rig, first: str, second: str) -> Sided:
    a, b = (rig.cells.index(name) for name in (first, second))
    cells_n = np.array([np.mean([stroke.cells_n for stroke in step.strokes], axis=0) for step in sweep.steps])
    means = cells_n.mean(axis=0)
    setback_mm, t_min = (np.array([getattr(step, name) for step in sweep.steps]) for name in ("setback_mm", "t_min"))
    over = side(
        float(means[a]),
        float(means[b]),
        u_first_n=_u_n(sweep, first, setback_mm, cells_n[:, a]),
        u_second_n=_u_n(sweep, second, setback_mm, cells_n[:, b]),
    )
    return Sided(first, second, over, trend("", "N", setback_mm, cells_n[:, a] - cells_n[:, b], t_min).said)


def _u_n(sweep: Ridden, name: str, setback_mm: Array, loads_n: Array) -> float:
    """From the calibration's budget if there is one, and the scatter of the steps about their trend with setback."""
    budgets = {} if sweep.calibration is None else {one.name: one.uncertainty for one in sweep.calibration.channels}
    budget = budgets.get(name)
    known_n = CELLS_U_N if budget is None else budget.standard_n(float(loads_n.mean()))
    if len(loads_n) < 3 or np.ptp(setback_mm) == 0.0:
        return known_n
    left_n = loads_n - np.polyval(np.polyfit(setback_mm, loads_n, 1), setback_mm)
    return math.hypot(known_n, math.sqrt(float(left_n @ left_n) / (len(loads_n) - 2) / len(loads_n)))
