"""What the desks read of the cells: a pipeline has more, which only the acquisition may use."""

from __future__ import annotations

from typing import Protocol

from daq.measure.calibration import Calibration
from daq.values import Array


class Cells(Protocol):
    """The cells as they are read now."""

    calibration: Calibration
    """In the order of the rig file's channels."""
    zero_counts: Array | None
    """None: the calibration's own zero."""
    channels: tuple[str, ...]
    """In the order of the board's scans; empty before its hello."""

    def recent_counts(self) -> Array:
        """Scans of the last seconds, oldest first."""
