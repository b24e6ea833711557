"""A simulated sensor in one leg's crank arm that sends its torque over the turn, in pieces of a few samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.rider.jig import JigBlock

SAMPLES_AT_ONCE = 8
"""A notification carries at most 9."""


@dataclass(frozen=True, slots=True)
class VectorNotice:
    """One notification of torque over the turn, as the whole numbers it sends."""

    t_s: float
    first_angle_deg: int
    torque_32: tuple[int, ...]
    """1/32 N m, oldest first."""


class VectorSensor:
    """Samples the left leg's torque at its own rate; independent of how time is cut into blocks."""

    def __init__(self, samples_hz: float = 20.0) -> None:
        """samples_hz: the rate the sensor reports at its control point; no faster than the jig's scans."""
        self.samples_hz = samples_hz
        self._held: list[tuple[float, int]] = []
        self._last_beat = -1

    def run(self, block: JigBlock) -> tuple[VectorNotice, ...]:
        """The notifications that become full within these scans."""
        beats = np.floor(block.t_s * self.samples_hz + 1e-9).astype(np.int64)
        notices = []
        for i in np.flatnonzero(np.diff(beats, prepend=self._last_beat)):
            self._held.append((float(block.crank_deg[i]), round(float(block.left_torque_nm[i]) * 32.0)))
            if len(self._held) == SAMPLES_AT_ONCE:
                first_deg = int(self._held[0][0])
                notices.append(VectorNotice(float(block.t_s[i]), first_deg, tuple(nm for _, nm in self._held)))
                self._held = []
        if len(beats):
            self._last_beat = int(beats[-1])
        return tuple(notices)
