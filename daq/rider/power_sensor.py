"""A power sensor in the simulated crank: what it counts, and when it notifies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.rider.pedalling import TURN_RAD, TurnedCrank
from daq.values import Array


@dataclass(frozen=True, slots=True)
class PowerNotice:
    """One notification of the simulated power sensor, as the whole numbers it sends."""

    t_s: float
    power_w: int
    crank_revs: int
    """Cumulative, 16 bit."""
    crank_time_1024: int
    """Last crank event, 1/1024 s, 16 bit."""
    torque_total_32: int
    """Accumulated torque, 1/32 N m, 16 bit: grows by the mean torque of each turn."""


class PowerSensor:
    """A sensor in the crank: counts turns at the top, averages torque over whole turns, notifies at a fixed
    interval."""

    STANDS_AFTER_S = 3.0
    """With no turn for this long, the power is 0."""

    def __init__(self, period_s: float, dt_s: float) -> None:
        self._period_s, self._dt_s = period_s, dt_s
        self._revs = 0
        self._event_s = 0.0
        self._work_j = 0.0
        self._torque_nm = 0.0
        self._torque_total = 0.0
        self._told = (0, 0.0, 0.0)
        self._power_w = 0.0

    def run(self, t_s: Array, turned: TurnedCrank) -> tuple[PowerNotice, ...]:
        """The notifications that fall into these scans."""
        beats = np.floor(t_s / self._period_s + 1e-9)
        beat = beats > np.floor((t_s - self._dt_s) / self._period_s + 1e-9)
        notices = []
        for i in np.flatnonzero(beat | turned.mark):
            if turned.mark[i]:
                self._turn(float(t_s[i] - turned.since_top_s[i]), float(turned.work_at_top_j[i]))
            if beat[i] and t_s[i] > 0.0:
                notices.append(self._notice(float(t_s[i])))
        return tuple(notices)

    def _turn(self, event_s: float, work_j: float) -> None:
        self._torque_total += (work_j - self._work_j) / TURN_RAD
        self._revs += 1
        self._event_s, self._work_j = event_s, work_j

    def _notice(self, t_s: float) -> PowerNotice:
        revs, event_s, torque_total = self._told
        if self._revs > revs and event_s > 0.0:
            turned_nm = self._torque_total - torque_total
            self._power_w = turned_nm * TURN_RAD / (self._event_s - event_s)
        elif t_s - self._event_s > self.STANDS_AFTER_S:
            self._power_w = 0.0
        self._told = (self._revs, self._event_s, self._torque_total)
        return PowerNotice(
            t_s=t_s,
            power_w=round(self._power_w),
            crank_revs=self._revs & 0xFFFF,
            crank_time_1024=int(self._event_s * 1024.0) & 0xFFFF,
            torque_total_32=int(self._torque_total * 32.0) & 0xFFFF,
        )
