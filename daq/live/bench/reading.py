"""One reading being taken: scans gathered until its time is over."""

from __future__ import annotations

from collections import deque

import numpy as np

from daq.measure.calibration.steadiness import FEWEST_SCANS, Settled, settled
from daq.values import Samples


class BenchReading:
    """Scans of one reading. With trace_every_s it records creep, mean by mean, after a first reading."""

    def __init__(
        self,
        asked_s: float,
        *,
        keep_s: float | None = None,
        trace_every_s: float | None = None,
        first: Settled | None = None,
    ) -> None:
        """keep_s: only the last so many seconds count, not the wait before them."""
        self.asked_s, self.trace_every_s = asked_s, trace_every_s
        self._keep_s = keep_s
        self._first = first
        self._begin_us: int | None = None
        self._end_us = 0
        self._parts: deque[Samples] = deque()

    def feed(self, samples: Samples) -> None:
        """More scans."""
        self._begin_us = int(samples.received_us[0]) if self._begin_us is None else self._begin_us
        self._end_us = int(samples.received_us[-1])
        self._parts.append(samples)
        while self._keep_s is not None and len(self._parts) > 1 and self._before(self._parts[1], self._keep_s):
            self._parts.popleft()

    def _before(self, part: Samples, keep_s: float) -> bool:
        """Whether this part begins before the kept span; then the part before it is not needed."""
        return int(part.received_us[0]) < self._end_us - keep_s * 1e6

    @property
    def seconds(self) -> float:
        """How long it has been going on."""
        return 0.0 if self._begin_us is None else (self._end_us - self._begin_us) / 1e6

    @property
    def complete(self) -> bool:
        """Whether its time is over and it has enough scans; if the board falls silent, the reading takes longer, not
        fewer scans."""
        return self.seconds >= self.asked_s and sum(map(len, self._parts)) >= FEWEST_SCANS

    @property
    def settled_first(self) -> Settled:
        """The reading the trace began with."""
        assert self._first is not None
        return self._first

    def settled(self) -> Settled:
        """All kept scans as one reading."""
        t_s = np.concatenate([part.received_us for part in self._parts]) / 1e6
        return settled(t_s - t_s[0], np.concatenate([part.counts for part in self._parts]))

    def trace(self, column: int) -> tuple[tuple[float, float], ...]:
        """(seconds since the load was first read, mean counts of a column), one for every trace_every_s."""
        assert self.trace_every_s is not None
        assert self._begin_us is not None
        t_s = (np.concatenate([part.received_us for part in self._parts]) - self._begin_us) / 1e6
        counts = np.concatenate([part.counts[:, column] for part in self._parts])
        which = np.minimum((t_s / self.trace_every_s).astype(int), int(self.asked_s / self.trace_every_s + 0.5) - 1)
        began = (0.0, self.settled_first.mean[column])
        later = [
            (float(t_s[which == i].mean() + 0.5 * self.settled_first.seconds), float(counts[which == i].mean()))
            for i in np.unique(which)
        ]
        return (began, *later)
