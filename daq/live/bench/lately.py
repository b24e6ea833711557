"""What the cells have sent lately, and for how long power has been on."""

from __future__ import annotations

from collections import deque

import numpy as np

from daq.values import Samples

LIVE_S = 0.5
"""The reading shown is the mean over this time."""
STEADY_S = 2.0


class Lately:
    """The scans of the last seconds."""

    def __init__(self, on_for_s: float) -> None:
        """on_for_s: power is on already."""
        self._on_for_s = on_for_s
        self._first_us: int | None = None
        self._recent: deque[Samples] = deque()

    def feed(self, samples: Samples) -> None:
        """More scans; what is older than STEADY_S goes."""
        self._first_us = int(samples.received_us[0]) if self._first_us is None else self._first_us
        self._recent.append(samples)
        while self._recent[0].received_us[-1] < samples.received_us[-1] - STEADY_S * 1e6:
            self._recent.popleft()

    def __bool__(self) -> bool:
        return bool(self._recent)

    @property
    def ticks_us(self) -> int | None:
        """The board's clock at the last scan; None before the first."""
        return int(self._recent[-1].ticks_us[-1]) if self._recent else None

    @property
    def on_s(self) -> float:
        """Seconds the power is known to be on."""
        if self._first_us is None:
            return self._on_for_s
        return self._on_for_s + (int(self._recent[-1].received_us[-1]) - self._first_us) / 1e6

    def shows(self, column: int) -> tuple[float, float]:
        """Counts of one channel now, and by how much they move; only after the first scan."""
        end_us = self._recent[-1].received_us[-1]
        now = np.concatenate([part.counts[part.received_us > end_us - LIVE_S * 1e6, column] for part in self._recent])
        lately = np.concatenate([part.counts[:, column] for part in self._recent])
        return float(now.mean()), float(np.ptp([part.mean() for part in np.array_split(lately, 4)]))
