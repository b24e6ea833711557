"""Limits of OIML R60-1:2021 for load cells, for comparison. Meeting them here is no type approval."""

from __future__ import annotations

import math
from typing import Literal

CellClass = Literal["A", "B", "C", "D"]
STEPS: dict[CellClass, tuple[tuple[float, float], ...]] = {
    "A": ((50_000, 0.5), (200_000, 1.0), (math.inf, 1.5)),
    "B": ((5_000, 0.5), (20_000, 1.0), (math.inf, 1.5)),
    "C": ((500, 0.5), (2_000, 1.0), (math.inf, 1.5)),
    "D": ((50, 0.5), (200, 1.0), (math.inf, 1.5)),
}
"""(up to and including this many intervals v, permissible error in v before apportionment)."""
APPORTIONED = 0.7
"""p_LC: the cell's share in the error of a whole instrument."""


def interval_n(capacity_n: float, intervals: int) -> float:
    """The verification interval v of a cell with so many intervals."""
    return capacity_n / intervals


def permissible_error_n(
    load_n: float, *, cell_class: CellClass, capacity_n: float, intervals: int, apportioned: float = APPORTIONED
) -> float:
    """Largest permissible error at a load: non-linearity, hysteresis and temperature effect on sensitivity together."""
    if not 0.3 <= apportioned <= 0.8:
        raise ValueError(f"apportionment: expected 0.3 to 0.8, got {apportioned:g}")
    v = interval_n(capacity_n, intervals)
    in_v = abs(load_n) / v
    # a load on a limit, within rounding, belongs below it
    return next(error for limit, error in STEPS[cell_class] if in_v <= limit * (1.0 + 1e-12)) * apportioned * v
