"""The power and cadence sensors, in the form strokes are cut from: notifications in, effort and turns out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from daq.items import Notification
from daq.measure.clock import CLOCK_RULES, SensorClock
from daq.values import NAN
from daq.wire.crank import CrankFollower
from daq.wire.readings import reading_of

SILENT_S = 5.0
"""A power reading older than this says nothing about the current effort."""
WITHOUT_TURNS = 3
"""After so many power readings in a row without crank turns the sensor counts none; one comes about every second."""


@dataclass(frozen=True, slots=True)
class CrankReport:
    """What one notification says; None or empty for anything it does not carry."""

    power_w: float | None = None
    torque_nm: float | None = None
    """As accumulated by the sensor; None if it has to be computed from power and cadence."""
    turns_s: tuple[float, ...] = ()
    """Session times of crank events, from the sensor that cuts the strokes."""
    cuts: bool = False
    """Whether this sensor cuts the strokes."""


class CrankSensors:
    """Their memory: crank counters and the clock of the one that cuts. One verb: feed."""

    def __init__(self, *, power: str, cut_by: str, clock_rules: int = CLOCK_RULES) -> None:
        """power: the source of the power readings; cut_by: the source whose crank events cut the strokes. clock_rules:
        of SensorClock."""
        self._power, self._cut_by = power, cut_by
        self._cranks = {power: CrankFollower(), cut_by: CrankFollower()}
        self._clock = SensorClock(clock_rules)
        self.cadence_rpm = NAN
        self._power_at = (-math.inf, NAN)
        self._without_turns = 0

    @property
    def counts_no_turns(self) -> bool:
        """Whether the sensor that should tell the cadence sends power alone."""
        return self._without_turns >= WITHOUT_TURNS

    @property
    def error_ms(self) -> float | None:
        """How well the clock of the sensor that cuts the strokes is known; None until it is known."""
        return self._clock.error_ms

    def effort_at(self, t_s: float) -> tuple[float, float] | None:
        """Power and cadence as last told; None if the power sensor has been silent. NaN: no cadence is told."""
        told_s, power_w = self._power_at
        return (power_w, self.cadence_rpm) if t_s - told_s <= SILENT_S else None

    def feed(self, notification: Notification) -> CrankReport:
        """Take one notification. ValueError when it cannot be decoded."""
        source, received_us = notification.source, notification.received_us
        reading = reading_of(notification.characteristic, notification.payload, source=source, received_us=received_us)
        if reading is None or source not in self._cranks:
            return CrankReport()
        crank, cuts = self._cranks[source].feed(reading), source == self._cut_by
        power_w = reading.power_w if source == self._power else None
        if power_w is not None:
            self._power_at = (received_us / 1e6, power_w)
            told = not cuts or reading.crank_revs is not None or reading.cadence_rpm is not None
            self._without_turns = 0 if told else self._without_turns + 1
        torque_nm = None if power_w is None or reading.torque_total_32 is None else crank.torque_nm
        if not cuts:
            return CrankReport(power_w, torque_nm)
        self.cadence_rpm = NAN if crank.cadence_rpm is None else crank.cadence_rpm
        return CrankReport(power_w, torque_nm, tuple(self._clock.feed(crank.event_s, received_us)), cuts)
