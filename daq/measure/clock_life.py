"""One life of a board's clock: how its microseconds map to session time from one restart to the next.

The mapping is linear within each device second and continuous at its end, so session time neither jumps nor goes back.
It is fitted again, under the least delayed scan of each past second, only when a second is complete.
"""

from __future__ import annotations

import numpy as np

from daq.measure.envelope import EnvelopeError, Point, forget_before_rise, line_under
from daq.values import Array, Ints

HISTORY = 120
"""The number of seconds the line is fitted under."""
SECOND_US = 1_000_000
LATE_US = 100_000
"""A scan that arrives this long after it was taken is counted as late."""
EARLY_US = 1_000_000
"""A scan cannot arrive this long before it was taken: the board has restarted, or the host slept."""
SILENCE_US = 60_000_000
"""After this long without a scan the mapping starts afresh."""
RISEN_S, RISEN_SECONDS = 0.2, 10
"""If this many device seconds are all later than the line by this much, the board's clock has stood still meanwhile."""
STEP_S = 0.5
"""Session time this far from a new line steps to it; anything less is made up within the second."""
SLOWEST, FASTEST = 0.5, 1.5
"""Session seconds per device second while catching up. Never below 0: time does not go back."""


class ClockLife:
    """Maps the scans of one device second after the other. It works in integer microseconds until the very last
    step."""

    def __init__(self, device_us: int, received_us: int, session_s: float, *, knows_waited: bool) -> None:
        """knows_waited: whether scans that came at once are known for ones that had waited."""
        self._knows_waited = knows_waited
        self.drift = 0.0
        self.late = 0
        self._error = EnvelopeError()
        self._zero_us, self._zero_delay_us = device_us, received_us - device_us
        self._second_us, self._second_s, self._rate = device_us, session_s, 1.0
        self._best: tuple[int, int] | None = None
        self._points: list[Point] = []
        self._delay_s = 0.0
        self._line_us = self._zero_delay_us
        """Receipt minus device time of an undelayed scan in this device second."""
        self._last_received_us = received_us

    @property
    def error_ms(self) -> float | None:
        """The error of the line in the coming second, in about 19 of 20 cases."""
        return self._error.ms

    def broken(self, device_us: int, received_us: int) -> bool:
        """Whether this scan cannot belong to the same life."""
        late_us = received_us - device_us - self._line_us
        silent = received_us - self._last_received_us > SILENCE_US
        return late_us < -EARLY_US or (silent and late_us > EARLY_US)

    def session_s(self, device_us: Ints, received_us: Ints) -> Array:
        """(n,) session time of the leading scans that lie in this device second and in this life; at least one.

        Remembers the least delayed of them.
        """
        n, end_us = len(device_us), self._second_us + SECOND_US
        if int(device_us[-1]) >= end_us:
            n = int(device_us.searchsorted(end_us))
            device_us, received_us = device_us[:n], received_us[:n]
        late_us = received_us - device_us
        late_us -= self._line_us
        least = int(late_us.min())
        if least < -EARLY_US or int(received_us[-1]) - self._last_received_us > SILENCE_US:
            n = self._until_broken(late_us, received_us)
            device_us, received_us, late_us = device_us[:n], received_us[:n], late_us[:n]
            least = int(late_us.min())
        if self._best is None or least < self._best[1]:
            self._best = int(device_us[late_us.argmin()]), least
        if int(late_us.max()) > LATE_US:
            self.late += int(np.count_nonzero(late_us > LATE_US))
        self._last_received_us = int(received_us[-1])
        session_s: Array = (device_us - self._second_us).astype(np.float64)
        session_s *= 1e-6 * self._rate
        session_s += self._second_s
        return session_s

    def turn_to(self, device_us: int) -> None:
        """If this scan lies beyond the current device second, update the mapping for the second it lies in."""
        seconds = (device_us - self._second_us) // SECOND_US
        if seconds < 1 or self._best is None:
            return
        self._lay_line(*self._best)
        self._best = None
        self._second_us += seconds * SECOND_US
        self._second_s += self._rate + (seconds - 1) * (1.0 + self.drift)
        now_s, next_s = self._line_s(self._second_us), self._line_s(self._second_us + SECOND_US)
        if now_s - self._second_s > STEP_S or (self._knows_waited and self._second_s - now_s > STEP_S):
            self._second_s = now_s
        self._rate = min(FASTEST, max(SLOWEST, next_s - self._second_s))
        self._line_us = round(now_s * 1e6) - self._second_us

    def _until_broken(self, late_us: Ints, received_us: Ints) -> int:
        """How many scans belong to this life; at least one, which has already been checked."""
        silent = np.diff(received_us, prepend=received_us[0]) > SILENCE_US
        broken = np.flatnonzero((late_us < -EARLY_US) | (silent & (late_us > EARLY_US)))
        return len(late_us) if not len(broken) else max(1, int(broken[0]))

    def _lay_line(self, device_us: int, late_us: int) -> None:
        delay_us = late_us + self._line_us - self._zero_delay_us
        self._points = [*self._points[1 - HISTORY :], ((device_us - self._zero_us) / 1e6, delay_us / 1e6)]
        self._points = forget_before_rise(
            self._points, rise_s=RISEN_S, count=RISEN_SECONDS, knows_waited=self._knows_waited
        )
        self._delay_s, self.drift = line_under(self._points)
        self._error.under(self._points, self._points[-1][0] + 1.0)

    def _line_s(self, device_us: int) -> float:
        """Session time of an undelayed scan."""
        since_s = (device_us - self._zero_us) / 1e6
        return (device_us + self._zero_delay_us) / 1e6 + self._delay_s + self.drift * since_s
