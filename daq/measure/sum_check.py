"""Do the cells and the rider's mass agree, and if not, what is likely wrong? While riding, only the size of the foot
load can be judged. With the feet off the pedals, hands and saddle carry all of the weight: a few such holds, leaning
differently, tell one faulty cell from a wrong mass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure.mechanics import Shares
from daq.values import FEET_SHARE, Array
from daq.words import listed

IDLE_FRACTION = 0.02
"""Fraction of the weight: a cell that shows less while the rider sits and pedals carries nothing, or is not
connected."""
HOLD_S = 2.0
STILL_N = 6.0
"""Scatter of the load on bar or saddle above which a rider is not sitting still: pedalling has 10 N and more (simulated
rider), quiet standing under 1 N (force plate, tests/published/force_plate)."""
U_HOLD_N = 3.0
"""Standard uncertainty of the sum of one hold."""
BETTER_BY = 9.0
"""A cause is named if its misfit (chi-squared) is below every other's by this much: odds of e^4.5, about 90."""


@dataclass(frozen=True, slots=True)
class SumCheck:
    """Whether the sum can be right, and what to look at."""

    passed: bool
    suspects: tuple[str, ...]
    """Names of cells, or "mass"; empty if the cause is unknown."""
    text: str


def riding_check(found: Shares, cells_n: Sequence[float], cell_names: Sequence[str]) -> SumCheck:
    """Judge the foot load while riding; name cells that cannot be right."""
    low, high = FEET_SHARE
    weight = found.weight_normal_n
    suspects = tuple(name for name, n in zip(cell_names, cells_n, strict=True) if not n > IDLE_FRACTION * weight)
    if low <= found.feet <= high and not suspects:
        return SumCheck(True, (), f"feet carry {100 * found.feet:.0f} %, as a remainder; the sum is plausible")
    said = (
        f"the feet would carry {100 * found.feet:.0f} % of the weight; expected {100 * low:.0f} to {100 * high:.0f} %"
    )
    if low <= found.feet <= high:
        said = f"the sum is plausible, but there is next to nothing on {listed(suspects)}"
    elif found.feet > high:
        said += ": a cell reads too little, or the mass is too high"
    else:
        said += ": a cell reads too much, or the mass is too low"
    if suspects:
        return SumCheck(False, suspects, f"{said}; look at {listed(suspects)} first: cable, mounting, zero")
    return SumCheck(False, (), f"{said}; weigh the rider, zero the empty jig, then check with the feet off the pedals")


class NotStill(ValueError):
    """The rider is not still; the text says what to do."""


def hold_of(cells_n: Array, hands_n: Array, saddle_n: Array) -> Array:
    """The mean (k,) of one hold with the feet off the pedals, from its scans (n, k). Raises NotStill."""
    if not len(cells_n) or not np.isfinite(cells_n).all():
        raise NotStill("a cell is silent or not calibrated, so the loads cannot be added up")
    for place, load_n in (("bar", hands_n), ("saddle", saddle_n)):
        if (moves_n := float(np.std(load_n))) > STILL_N:
            raise NotStill(
                f"the load on the {place} moves by {moves_n:.0f} N: feet off the pedals, sit still for {HOLD_S:g} s, "
                "then again"
            )
    return np.asarray(cells_n.mean(axis=0))


def feet_off_check(holds_n: Array, cell_names: Sequence[str], weight_n: float) -> SumCheck:
    """Judge holds (m, k) with the feet off the pedals: each has to add up to the weight along the jig normal.

    Causes compared by least squares, each with one unknown: all cells wrong by one factor (the mass), or one cell. A
    wrong zero looks like a wrong mass, so zero the empty jig first. ValueError for no holds.
    """
    holds = np.atleast_2d(np.asarray(holds_n, dtype=np.float64))
    if holds.size == 0 or holds.shape[1] != len(cell_names):
        raise ValueError(f"holds_n: expected holds of {len(cell_names)} cells, got shape {holds.shape}")
    missing = weight_n - holds.sum(axis=1)
    chi2 = float(np.sum((missing / U_HOLD_N) ** 2))
    most = len(holds) + 3.0 * np.sqrt(2.0 * len(holds))
    said = f"hands and saddle show {100 * (1 - missing.mean() / weight_n):.1f} % of the weight with the feet off"
    if chi2 <= most:
        return SumCheck(True, (), f"{said}; they agree")
    causes = {"mass": holds.sum(axis=1), **dict(zip(cell_names, holds.T, strict=True))}
    misfits = {name: _misfit(missing, column, U_HOLD_N) for name, column in causes.items()}
    best, *others = sorted(misfits, key=lambda name: misfits[name])
    if len(holds) < 3:
        return SumCheck(
            False, (), f"{said}; hold at least 3 positions (lean forward, sit back, lean aside) to tell why"
        )
    if misfits[best] > most:
        return SumCheck(
            False, (), f"{said}; neither the mass nor one cell alone explains it: check each with a known weight"
        )
    if misfits[others[0]] - misfits[best] < BETTER_BY:
        close = tuple(name for name in misfits if misfits[name] - misfits[best] < BETTER_BY)
        return SumCheck(False, close, f"{said}; it may be {listed(close, 'or')}: check each with a known weight")
    if best == "mass":
        return SumCheck(False, ("mass",), f"{said} in every position: likely the mass, or a zero; zero and weigh again")
    return SumCheck(False, (best,), f"{said}, depending on how {best} is loaded: check {best} with a known weight")


def _misfit(missing: Array, column: Array, u_n: float) -> float:
    power = float(np.dot(column, column))
    factor = float(np.dot(column, missing)) / power if power > 0.0 else 0.0
    return float(np.sum(((missing - factor * column) / u_n) ** 2))
