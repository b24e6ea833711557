"""The daily check: one known weight on a cell, or on bar or saddle, compared with the calibration's reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from daq.measure.calibration import Calibration, Uncertainty, apply, expanded_sum
from daq.measure.calibration.crosstalk import LITTLE
from daq.measure.calibration.status import SensitivityCheck, sensitivity_check
from daq.measure.calibration.uncertainty import Term
from daq.measure.calibration.weights import Weights, buoyancy_relative
from daq.measure.zero import PARTS
from daq.rig import Rig
from daq.values import Array
from daq.words import counted

STEADY_N = 0.2
UNMEASURED = Term(
    "cross-talk not measured", relative=LITTLE / math.sqrt(3.0), shared=True, shape="rectangular",
    note="a frame may do the same to all its cells",
)  # fmt: skip
AND_CROSSTALK = "the cross-talk too, which was never measured"


def names_to_check(rig: Rig) -> tuple[str, ...]:
    """What a weight can be put on: the whole bar or saddle, or one cell."""
    return ("hands", "saddle", *rig.cells)


def u_weight_n(load_n: float, weights: Weights, u_gravity_relative: float) -> float:
    """Standard uncertainty of the pull of a weight."""
    return load_n * math.hypot(weights.relative, u_gravity_relative, buoyancy_relative())


def weight_check(
    rig: Rig,
    calibration: Calibration,
    counts: Array,
    zero_counts: Array | None,
    *,
    on: str,
    load_n: float,
    u_load_n: float,
    at_utc: str,
) -> SensitivityCheck:
    """The check of the last seconds' counts (n, k), channels as in the rig file. On the jig a cell also shows what the
    frame makes of a weight; where that was never measured, it is uncertain here (JCGM 100 4.3).

    ValueError for an unknown name, a weight that is too light, cells without a budget, and a load that still moves.
    """
    if on not in names_to_check(rig):
        raise ValueError(f"check: expected one of {', '.join(names_to_check(rig))}, got {on!r}")
    if len(counts) < 4 * PARTS:
        raise ValueError(
            f"check: the board has sent {counted(len(counts), 'scan')} in the last seconds: wait until it sends"
        )
    wanted = [j for j, channel in enumerate(rig.channels) if on in (channel.name, channel.role)]
    loads_n = apply(calibration, counts, zero_counts)[:, wanted]
    parts = _budgets(calibration, wanted, loads_n.mean(axis=0).tolist())
    together = loads_n.sum(axis=1)
    moves_n = float(np.ptp([part.mean() for part in np.array_split(together, PARTS)]))
    if moves_n > max(STEADY_N, expanded_sum(parts).expanded_n):
        raise ValueError(f"check: {on} still moves by {moves_n:.1f} N: let the weight hang still, touch nothing, again")
    if _unmeasured(calibration):
        parts = [(replace(one, terms=(*one.terms, UNMEASURED)), cell_n) for one, cell_n in parts]
    made = sensitivity_check(
        on, at_utc, load_n=load_n, u_load_n=u_load_n, shown_n=float(together.mean()), uncertainty=expanded_sum(parts)
    )
    return replace(made, remedy=f"{made.remedy}, {AND_CROSSTALK}") if _unmeasured(calibration) else made


def _budgets(
    calibration: Calibration, columns: Sequence[int], loads_n: Sequence[float]
) -> list[tuple[Uncertainty, float]]:
    found = []
    for j, load_n in zip(columns, loads_n, strict=True):
        channel = calibration.channels[j]
        if channel.uncertainty is None:
            raise ValueError(f"check: {channel.name} has no uncertainty to check against: calibrate it on a bench")
        found.append((channel.uncertainty, load_n))
    return found


def _unmeasured(calibration: Calibration) -> bool:
    """Whether one cell may show another's load without anybody knowing."""
    return calibration.crosstalk is None and len(calibration.forces) > 1
