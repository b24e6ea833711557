"""The state of each sensor: fresh or stale, how fast, what was lost."""

from __future__ import annotations

import itertools
import statistics
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

RATE_OVER_S = 2.0
Kind = Literal["board", "power"]
STALE_AFTER_S: dict[str, float] = {"board": 0.5, "power": 3.0}
"""A board sends many scans a second, a power sensor about one; for slower sources see MISSED."""
MISSED = 3.0
"""A slow source is stale after this many of its own usual gaps."""
GAPS, FEWEST_GAPS = 7, 3
"""The usual gap is the median of the last seven, known after three: one long silence does not change it."""
ABSENT_AFTER_S = 10.0


@dataclass(frozen=True, slots=True)
class Counters:
    """What a source has lost so far, and how well its clock is known."""

    dropped: int = 0
    damaged: int = 0
    late: int = 0
    clock_error_ms: float | None = None


@dataclass(slots=True)
class SourceHealth:
    """The freshness of one source. Times are session microseconds."""

    name: str
    kind: Kind
    counters: Callable[[], Counters] = Counters
    trouble: Callable[[], str] = str
    """What its link says is wrong, empty if nothing is."""
    pace: float = 1.0
    """How much faster than the wall clock the session runs; a person sees ages in real seconds."""
    expected: bool = True
    """Whether its silence is a fault; a sensor that the rig file does not name may be missing."""
    _arrivals: deque[tuple[int, int]] = field(default_factory=deque)

    def arrived(self, received_us: int, count: int) -> None:
        """Note count scans or notifications."""
        self._arrivals.append((received_us, count))
        while len(self._arrivals) > GAPS + 1 and self._arrivals[0][0] < received_us - RATE_OVER_S * 1e6:
            self._arrivals.popleft()

    def age_s(self, now_us: int) -> float | None:
        """Real seconds since the last arrival; None before the first."""
        return max(0.0, (now_us - self._arrivals[-1][0]) / 1e6 / self.pace) if self._arrivals else None

    def rate_hz(self, now_us: int) -> float:
        """Scans or notifications a second of session time, over the last two; over its last few of a slow source."""
        if self._usual_gap_s() > RATE_OVER_S / GAPS:
            (first_us, _), *later = self._arrivals
            return sum(count for _, count in later) / ((now_us - first_us) / 1e6)
        return sum(count for at_us, count in self._arrivals if at_us > now_us - RATE_OVER_S * 1e6) / RATE_OVER_S

    def state(self, now_us: int) -> Literal["live", "stale", "absent"]:
        """Stale data must never look live."""
        age_s = self.age_s(now_us)
        if age_s is None or age_s > ABSENT_AFTER_S:
            return "absent"
        return "live" if age_s <= self.stale_after_s else "stale"

    @property
    def stale_after_s(self) -> float:
        """Real seconds of silence after which it is stale."""
        return max(STALE_AFTER_S[self.kind], MISSED * self._usual_gap_s() / self.pace)

    def _usual_gap_s(self) -> float:
        """Session seconds between its last arrivals; 0 until there are enough."""
        last = list(itertools.islice(reversed(self._arrivals), GAPS + 1))
        gaps_us = [after - before for (after, _), (before, _) in itertools.pairwise(last)]
        return statistics.median(gaps_us) / 1e6 if len(gaps_us) >= FEWEST_GAPS else 0.0

    def report(self, now_us: int) -> dict[str, object]:
        """This source as messages and the health page show it."""
        lost = self.counters()
        return {
            "name": self.name,
            "kind": self.kind,
            "state": self.state(now_us),
            "age_s": self.age_s(now_us),
            "stale_after_s": self.stale_after_s,
            "rate_hz": self.rate_hz(now_us),
            "dropped": lost.dropped,
            "damaged": lost.damaged,
            "late": lost.late,
            "clock_error_ms": lost.clock_error_ms,
            "message": self.trouble_now(now_us),
        }

    def trouble_now(self, now_us: int) -> str:
        """What is wrong, in one sentence; empty if data arrives and the link reports nothing."""
        if self.state(now_us) == "live":
            return self.trouble()
        age_s = self.age_s(now_us)
        if age_s is None and not self.expected:
            return ""
        silence = "nothing received yet" if age_s is None else f"no data for {age_s:.0f} s"
        return self.trouble() or silence
