"""The loads of the last seconds, for a page that joins late and for what is judged over a moment."""

from __future__ import annotations

from collections import deque

from daq.values import Loads

BACKLOG_S = 20.0
"""As long as the strip charts of a page."""


class Backlog:
    """Blocks of loads, the newest last."""

    def __init__(self) -> None:
        self._blocks: deque[Loads] = deque()

    def remember(self, loads: Loads) -> None:
        """Add a block; what is older than BACKLOG_S goes."""
        self._blocks.append(loads)
        while self._blocks[0].t_s[-1] < loads.t_s[-1] - BACKLOG_S:
            self._blocks.popleft()

    def last(self, seconds: float = BACKLOG_S) -> list[Loads]:
        """The blocks of the last seconds."""
        if not self._blocks:
            return []
        from_s = self._blocks[-1].t_s[-1] - seconds
        return [block for block in self._blocks if block.t_s[-1] >= from_s]
