"""The session's clock: microseconds since the session began, never the same twice."""

from __future__ import annotations

import time
from collections.abc import Callable


def steady_ns() -> int:
    """Nanoseconds that no setting of the time of day moves; those the machine slept count (clock_gettime(2),
    CLOCK_BOOTTIME): a lid that is closed in a sweep leaves a gap, and does not join what was ridden on both sides."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic_ns()


class SessionClock:
    """Stamps everything that arrives. Strictly increasing, so receipt order is a total order and replay is exact.

    pace runs it faster than the wall clock, which only a simulated jig can follow. begin_us is where it starts: above 0
    for a resumed session. at_most_s: the clock stands still between the beats of a simulated jig and advances by no
    more than this at each, so that a stalling machine slows the ride down; at a high pace its sensors would otherwise
    be seconds late.
    """

    def __init__(
        self,
        *,
        pace: float = 1.0,
        begin_us: int = 0,
        monotonic_ns: Callable[[], int] = steady_ns,
        at_most_s: float | None = None,
    ) -> None:
        if not 0.0 < pace <= 1000.0:
            raise ValueError(f"pace: expected above 0 and at most 1000, got {pace:g}")
        self.pace = pace
        self._begin_us = begin_us
        self._monotonic_ns = monotonic_ns
        self._zero_ns = monotonic_ns()
        self._last_us = begin_us
        self.at_most_s = at_most_s
        self._beat_ns, self._beat_us = self._zero_ns, begin_us

    def now_us(self) -> int:
        """Session time, for displaying ages. Not for stamping."""
        if self.at_most_s is not None:
            return self._beat_us
        return self._begin_us + int((self._monotonic_ns() - self._zero_ns) * self.pace) // 1000

    def beat(self) -> None:
        """Advance a clock that stands still between beats; any other runs by itself."""
        if self.at_most_s is not None:
            last_ns, self._beat_ns = self._beat_ns, self._monotonic_ns()
            self._beat_us += min(int((self._beat_ns - last_ns) * self.pace) // 1000, int(self.at_most_s * 1e6))

    def stamp_us(self) -> int:
        """Stamp something that has just arrived."""
        self._last_us = max(self.now_us(), self._last_us + 1)
        return self._last_us
