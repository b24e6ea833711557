"""A board's clock that jumps while the board runs on: sequence numbers continue, microseconds do not.

A restart has another boot number, a stop or a pulled cable takes as long by the host's clock, a host that stalls gets
its scans late but with good ticks. The remaining cases are faults of the board: its crystal, or its firmware.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.values import Ints, Samples

JUMP_US = 1_000_000
"""The mapping to session time follows smaller jumps by itself."""
GOES_ON = 4096
"""After a larger gap in the numbers, the elapsed time is unknown."""


class ClockJumps:
    """Feed the scans of one board in order, cut anywhere."""

    def __init__(self) -> None:
        self._period_us = 0.0
        self._boot: Any = None
        self._last: tuple[int, int, int] | None = None

    def meet(self, hello: Mapping[str, Any]) -> None:
        """Learn the rate, and forget what came before a restart. hello: in stored form."""
        if hello.get("boot") != self._boot:
            self._boot, self._last = hello.get("boot"), None
        rate_hz = float(hello.get("scan_rate_hz") or 0.0)
        self._period_us = 1e6 / rate_hz if rate_hz > 0.0 else 0.0

    def feed(self, samples: Samples) -> list[tuple[int, float]]:
        """(scan, seconds) of each jump; positive when the clock leapt ahead."""
        if not len(samples):
            return []
        now: tuple[Any, ...] = (samples.ticks_us, samples.received_us, samples.sequence)
        last: tuple[int, ...] = self._last or tuple(int(column[0]) for column in now)
        self._last = int(now[0][-1]), int(now[1][-1]), int(now[2][-1])
        if self._period_us == 0.0:
            return []
        ticks, received, sequence = (_steps(before, column) for before, column in zip(last, now, strict=True))
        ticks = (ticks + (1 << 31)) % (1 << 32) - (1 << 31)
        sequence %= 1 << 16
        off = ticks - sequence * self._period_us
        jumped = (np.abs(off) > JUMP_US) & (np.abs(ticks - received) > JUMP_US) & (sequence < GOES_ON)
        return [(i, float(off[i]) * 1e-6) for i in np.flatnonzero(jumped).tolist()]


def _steps(before: int, column: npt.NDArray[Any]) -> Ints:
    """From each value to the next. For the few scans of a beat np.diff with `prepend` takes several times as long."""
    values = np.empty(len(column) + 1, dtype=np.int64)
    values[0], values[1:] = before, column
    steps: Ints = values[1:] - values[:-1]
    return steps


def jumped_said(by_s: float) -> str:
    """A jump of the clock, in a sentence with what to do."""
    return (
        f"the board's clock jumped by {by_s:+z.1f} s although it did not restart: ride the position again, "
        "and check its crystal and firmware"
    )
