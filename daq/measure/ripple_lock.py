"""Crank revolutions from the loads alone: the twice-a-turn ripple, tracked near the sensor's cadence. For a rig without
a crank mark. The lock finds the crank's phase within its own ripple, not the top of the stroke: turns begin at one of
the load's two peaks, and which one is chance. It is good for cutting strokes, but gives no crank angles.
"""

from __future__ import annotations

import math

import numpy as np

from daq.values import NAN, Array

MEMORY_TURNS = 1.5
"""Over which the ripple's phase is averaged."""
PULL = 0.05
"""Of the phase error, corrected per radian turned."""
FOLLOW_S = 2.0
"""Time in which the rate follows the sensor's cadence."""
LEVEL_S = 1.5
"""Time in which the mean load is followed."""
LOCKED = 0.25
"""Part of the load's variance the ripple must explain."""
LOCK_TURNS = 3.0
"""It must do so for this long before turns are reported."""
SLOWEST_RPM = 20.0
GAP_S = 0.5
"""Scans further apart than this break the lock."""

_TURN = 2.0 * math.pi


class RippleLock:
    """Feed it scans in time order; it returns the times at which turns begin, however the scans are cut into blocks."""

    def __init__(self) -> None:
        self._t_s = NAN
        self._start_over(NAN)

    @property
    def locked(self) -> bool:
        """Whether turns are reported."""
        return self._good_turns >= LOCK_TURNS

    def feed(self, t_s: Array, load_n: Array, cadence_rpm: float) -> list[float]:
        """Times of the turns that begin within these scans. cadence_rpm: the sensor's last value, NaN if unknown.
        Without a cadence, or below SLOWEST_RPM, no turns are reported and the lock is lost.
        """
        if not cadence_rpm >= SLOWEST_RPM:
            self._start_over(NAN)
            return []
        events = []
        for t, load in zip(t_s.tolist(), np.asarray(load_n, dtype=np.float64).tolist(), strict=True):
            event_s = self._scan(t, load, cadence_rpm * _TURN / 60.0)
            if event_s is not None:
                events.append(event_s)
        return events

    def _start_over(self, t_s: float) -> None:
        self._t_s = t_s
        self._angle = 0.0
        self._rate = self._level = NAN
        self._cos = self._sin = self._variance = 0.0
        self._good_turns = 0.0

    def _scan(self, t_s: float, load: float, rate: float) -> float | None:
        """Advance the model's crank to t_s and correct it by the load; returns the time a turn began, if one did."""
        dt = t_s - self._t_s
        if not 0.0 < dt <= GAP_S or math.isnan(load):
            if not math.isnan(load):
                self._start_over(t_s)
            return None
        self._t_s = t_s
        if math.isnan(self._rate):
            self._rate, self._level = rate, load
        self._rate += (rate - self._rate) * min(dt / FOLLOW_S, 1.0)
        step = self._rate * dt + PULL * self._rate * dt * self._error(load, dt)
        before, self._angle = self._angle, self._angle + step
        self._judge(step)
        if self._angle < _TURN:
            return None
        self._angle -= _TURN
        return t_s - dt * (self._angle / step) if self.locked and before < _TURN else None

    def _error(self, load: float, dt: float) -> float:
        """How far the ripple's peak is ahead of the model's, radians of crank; 0 while there is no ripple."""
        self._level += (load - self._level) * min(dt / LEVEL_S, 1.0)
        departure = load - self._level
        keep = math.exp(-dt * self._rate / (_TURN * MEMORY_TURNS))
        gain = 1.0 - keep
        self._cos += gain * (departure * math.cos(2.0 * self._angle) - self._cos)
        self._sin += gain * (departure * math.sin(2.0 * self._angle) - self._sin)
        self._variance += gain * (departure * departure - self._variance)
        return 0.5 * math.atan2(-self._sin, self._cos)

    def _judge(self, step: float) -> None:
        """Count the turns through which the ripple explains enough of the load."""
        explained = 2.0 * (self._cos**2 + self._sin**2)
        good = explained > LOCKED * self._variance > 0.0
        self._good_turns = min(self._good_turns + step / _TURN, 2.0 * LOCK_TURNS) if good else 0.0
