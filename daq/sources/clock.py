"""The session's clock: microseconds since the session began, never twice the same."""

from __future__ import annotations

import time
from collections.abc import Callable


class SessionClock:
    """Stamps everything that arrives. Strictly increasing, so receipt order is a total order and replay is exact.

    pace runs it faster than the wall clock, which only a simulated jig can follow. begin_us is where it starts:
    above 0 when an interrupted session goes on.
    """

    def __init__(
        self, *, pace: float = 1.0, begin_us: int = 0, monotonic_ns: Callable[[], int] = time.monotonic_ns
    ) -> None:
        if not 0.0 < pace <= 1000.0:
            raise ValueError(f"pace: expected above 0 and at most 1000, got {pace:g}")
        self.pace = pace
        self._begin_us = begin_us
        self._monotonic_ns = monotonic_ns
        self._zero_ns = monotonic_ns()
        self._last_us = begin_us

    def now_us(self) -> int:
        """Session time, for showing ages. Not for stamping."""
        return self._begin_us + int((self._monotonic_ns() - self._zero_ns) * self.pace) // 1000

    def stamp_us(self) -> int:
        """Session time for something that has just arrived."""
        self._last_us = max(self.now_us(), self._last_us + 1)
        return self._last_us
