"""Device clocks in session time: the board's microseconds, the event times of a Bluetooth sensor.

Both run on their own crystals, 20 to 100 ppm off, and their messages arrive with arbitrary delays from link and host.
The envelope (see `envelope`) separates the two. It cannot see the shortest delay of the link. The same scans in the
same order give the same times, bit for bit, however they are cut into blocks: the mapping is updated only when a device
second is complete, and holds for the whole of the next one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from daq.measure.clock_life import ClockLife
from daq.measure.envelope import EnvelopeError, Point, forget_before_rise, line_under
from daq.values import Array, Ints, Samples

HISTORY = 120
"""The number of crank events the line is fitted under."""
RISEN_EVENTS_S, RISEN_EVENTS = 2.0, 5
"""So many events in a row, each this much later than the line: the sensor's clock has stood still. Otherwise an event
is late by no more than one notification and one revolution."""


CLOCK_RULES = 2
"""The rules by which scans and crank events get their times. A sweep that names none was timed by rules 1. These took
data that had waited in a port, and came all at once, for data of a clock that had stood still; what followed was timed
too late, by up to as long as the data had waited.
"""
WRAP_US = 1 << 32
"""Ticks wrap after 71.6 minutes."""


class BoardClock:
    """One board's ticks in session time. Feed its samples in receipt order.

    `restarts` counts how often the mapping to session time had to restart: a reboot, a long silence, a host that slept.
    """

    def __init__(self, rules: int = CLOCK_RULES) -> None:
        """rules: CLOCK_RULES or earlier ones, as the sweep was begun with."""
        self._knows_waited = rules > 1
        self.restarts = 0
        self._late_before = 0
        self._last: tuple[npt.NDArray[np.uint32], int, int] | None = None
        self._life: ClockLife | None = None
        self._last_s = 0.0
        self.gaps_s: list[float] = []
        """Of the last feed: the times of the scans before those without one."""

    @property
    def late(self) -> int:
        """Scans that arrived more than 0.1 s after they were taken."""
        return self._late_before + (self._life.late if self._life else 0)

    @property
    def error_ms(self) -> float | None:
        """The error of t_s, apart from the shortest delay of the link, in about 19 of 20 cases; None until it is
        known."""
        return self._life.error_ms if self._life else None

    def feed(self, samples: Samples) -> Array:
        """(n,) session time of each scan, s; never decreasing, even from one feed to the next. NaN where it is not
        known: of scans that a restarted mapping puts before ones already mapped.
        """
        device_us = self._unwrap(samples)
        received_us = samples.received_us
        pieces, self.gaps_s = [], []
        while len(device_us):
            mapped_s = self._piece(device_us, received_us)
            pieces.append(mapped_s)
            device_us, received_us = device_us[len(mapped_s) :], received_us[len(mapped_s) :]
        return pieces[0] if len(pieces) == 1 else np.concatenate([np.empty(0), *pieces])

    def _unwrap(self, samples: Samples) -> Ints:
        """(n,) board time without wraps, us, counted from the first scan ever fed."""
        ticks, received_us = samples.ticks_us, samples.received_us
        if not len(ticks):
            return np.empty(0, dtype=np.int64)
        last_ticks, last_us, at_us = self._last or (ticks[:1], int(received_us[0]), 0)
        ahead = _steps(ticks, last_ticks).astype(np.int64)
        if received_us[-1] - last_us > WRAP_US // 2:
            unseen_us = _steps(received_us, np.array([last_us])) - ahead
            ahead += np.maximum(0, np.rint(unseen_us / WRAP_US)).astype(np.int64) * WRAP_US
        device_us: Ints = at_us + ahead.cumsum()
        self._last = ticks[-1:], int(received_us[-1]), int(device_us[-1])
        return device_us

    def _piece(self, device_us: Ints, received_us: Ints) -> Array:
        """Session time of the scans up to the end of the device second, or to where the clock restarts."""
        first_device_us, first_received_us = int(device_us[0]), int(received_us[0])
        life = self._life
        if life is None or life.broken(first_device_us, first_received_us):
            self.restarts += life is not None
            self._late_before = self.late
            begins_s, knows = first_received_us / 1e6, self._knows_waited
            life_s = begins_s if knows else max(self._last_s, begins_s)
            life = ClockLife(first_device_us, first_received_us, life_s, knows_waited=knows)
            self._life = life
        life.turn_to(first_device_us)
        mapped_s = life.session_s(device_us, received_us)
        if mapped_s[0] < self._last_s:
            # Scans that had waited came at once, and the first of them was taken for undelayed.
            mapped_s[mapped_s < self._last_s] = np.nan
            self.gaps_s.append(self._last_s)
        self._last_s = max(self._last_s, float(mapped_s[-1]))  # not the other way round: NaN is no maximum
        return mapped_s


def _steps(x: npt.NDArray[Any], before: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """(n,) each number minus the previous one; unsigned numbers wrap."""
    steps = x.copy()
    steps[:1] -= before
    steps[1:] -= x[:-1]
    return steps


class SensorClock:
    """Event times of a Bluetooth sensor in session time: to 20-25 ms, enough to cut strokes, but not for phase."""

    def __init__(self, rules: int = CLOCK_RULES) -> None:
        """rules: CLOCK_RULES or earlier ones, as the sweep was begun with."""
        self._knows_waited = rules > 1
        self._points: list[Point] = []
        self._zero: tuple[float, int] | None = None
        self._last_s = 0.0
        self._error = EnvelopeError()

    @property
    def error_ms(self) -> float | None:
        """The error of the times, apart from the shortest delay of the link, in about 19 of 20 cases."""
        return self._error.ms

    def feed(self, event_s: Sequence[float], received_us: int) -> tuple[float, ...]:
        """Session times, s, of the new events of one notification, never decreasing."""
        if not event_s:
            return ()
        zero_s, zero_us = self._zero = self._zero or (event_s[-1], received_us)
        since_s = event_s[-1] - zero_s
        self._points = [*self._points[1 - HISTORY :], (since_s, (received_us - zero_us) / 1e6 - since_s)]
        self._points = forget_before_rise(
            self._points, rise_s=RISEN_EVENTS_S, count=RISEN_EVENTS, knows_waited=self._knows_waited
        )
        delay_s, drift = line_under(self._points)
        self._error.under(self._points, since_s)
        times = []
        for event in event_s:
            since = event - zero_s
            self._last_s = max(self._last_s, zero_us / 1e6 + since + delay_s + drift * since)
            times.append(self._last_s)
        return tuple(times)
