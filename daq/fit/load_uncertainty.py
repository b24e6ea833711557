"""The uncertainty of the load on hands or saddle, from the calibration's budget."""

from __future__ import annotations

from collections.abc import Sequence

from daq.measure.calibration import Calibration, Expanded, expanded_sum
from daq.rig import Rig


def uncertainty_of(calibration: Calibration, rig: Rig, cells_n: Sequence[float], role: str) -> Expanded | None:
    """Uncertainty of the sum of the cells with this role, 95 %; None if one of them has no budget."""
    budgets = {channel.name: channel.uncertainty for channel in calibration.channels}
    wanted = {channel.name for channel in rig.channels if channel.role == role}
    parts = [(budgets[name], load_n) for name, load_n in zip(rig.cells, cells_n, strict=True) if name in wanted]
    known = [(budget, load_n) for budget, load_n in parts if budget is not None]
    return expanded_sum(known) if len(known) == len(parts) else None
