"""How long the cells have had power, judged by the scans received: a warm-up counts for the next bench too."""

from __future__ import annotations

from daq.values import Samples

SILENT_S = 5.0
"""After a longer silence the plug may have been out; the warm-up starts again."""


class PowerOn:
    """The time since the first scan of this start of the board."""

    def __init__(self) -> None:
        self._boot: int | None = None
        self._since_us: int | None = None
        self._last_us = 0

    def feed(self, samples: Samples, boot: int | None) -> None:
        """More scans of a board whose start has this number."""
        if not len(samples):
            return
        first_us = int(samples.received_us[0])
        if self._since_us is None or boot != self._boot or first_us - self._last_us > SILENT_S * 1e6:
            self._since_us, self._boot = first_us, boot
        self._last_us = int(samples.received_us[-1])

    @property
    def on_s(self) -> float:
        """Seconds the power is known to be on."""
        return 0.0 if self._since_us is None else (self._last_us - self._since_us) / 1e6
