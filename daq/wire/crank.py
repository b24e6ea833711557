"""Follows the counters of a power or cadence sensor: revolutions, cadence, mean crank torque.

The sensor sends how often the crank has passed its mark, when it last did, and the torque added up at each pass, all
modulo 65536. Differences are taken modulo 65536; a pause longer than the 64 s the time runs round in is told by the
host's clock. The same event again is no new revolution: cadence falls to 0 by time-out, not by data.

    cadence = 60 * 1024 * revolutions / time       mean torque = added torque / 32 / revolutions

A sensor that sends no torque gets 60 P / (2 pi n): power over the angular speed of the crank.
"""

from __future__ import annotations

from dataclasses import dataclass

from daq.physics import crank_torque_nm
from daq.values import PowerReading

STANDSTILL_S = 3.0
"""With no event for this long, the crank stands still. 20 rpm."""
FASTEST_RPM = 300.0
"""If the counters claim more, the sensor has restarted."""
MOST_REVS = 4
"""More between two readings means the link was lost: when each one ended is then unknown. 4 a second is 240 rpm."""
TICKS_PER_S = 1024
WRAP = 1 << 16
WRAP_S = WRAP / TICKS_PER_S


@dataclass(frozen=True, slots=True)
class Crank:
    """What one reading says about the crank. None is unknown."""

    revolutions: int = 0
    """Since the first reading."""
    event_s: tuple[float, ...] = ()
    """Sensor time of each new pass of the mark, in order, never repeated; several in one reading are spread evenly."""
    cadence_rpm: float | None = None
    """0 when the crank stands still."""
    torque_nm: float | None = None
    """Mean over the new revolutions; None when the crank stands."""


@dataclass(frozen=True, slots=True)
class _Event:
    """The last pass of the mark."""

    revs: int
    time_1024: int
    torque_32: int | None
    received_us: int
    sensor_s: float


class CrankFollower:
    """Feed the readings of one sensor in receipt order."""

    def __init__(self) -> None:
        self._event: _Event | None = None
        self._revolutions = 0
        self._cadence_rpm: float | None = None
        self._torque_nm: float | None = None

    def feed(self, reading: PowerReading) -> Crank:
        """The crank as this reading leaves it."""
        if reading.crank_revs is None or reading.crank_time_1024 is None:
            return _without_events(reading, self._revolutions)
        last = self._event
        if last is None:
            self._begin(reading, reading.crank_revs, reading.crank_time_1024)
            return Crank()
        revs = (reading.crank_revs - last.revs) % WRAP
        if revs == 0:
            return self._no_new_event(reading, last)
        elapsed_s = _elapsed_s(last, reading.crank_time_1024, reading.received_us)
        if revs > 1 + elapsed_s * FASTEST_RPM / 60.0 or elapsed_s == 0.0:
            self._begin(reading, reading.crank_revs, reading.crank_time_1024)
            return Crank(self._revolutions)
        return self._turn(reading, last, revs, elapsed_s)

    def _begin(self, reading: PowerReading, revs: int, time_1024: int) -> None:
        """Accept the sensor's counters as they are: first reading, or a restarted sensor."""
        sensor_s = time_1024 / TICKS_PER_S
        if self._event is not None:
            ran_s = (reading.received_us - self._event.received_us) / 1e6
            sensor_s = self._event.sensor_s + ran_s
        self._event = _Event(revs, time_1024, reading.torque_total_32, reading.received_us, sensor_s)
        self._cadence_rpm = self._torque_nm = None

    def _no_new_event(self, reading: PowerReading, last: _Event) -> Crank:
        stands = reading.received_us - last.received_us > STANDSTILL_S * 1e6
        if stands:
            self._cadence_rpm, self._torque_nm = 0.0, None
        return Crank(self._revolutions, (), self._cadence_rpm, self._torque_nm)

    def _turn(self, reading: PowerReading, last: _Event, revs: int, elapsed_s: float) -> Crank:
        sensor_s = last.sensor_s + elapsed_s
        steady = revs <= MOST_REVS and elapsed_s <= STANDSTILL_S * revs
        events = tuple(last.sensor_s + elapsed_s * i / revs for i in range(1, revs)) if steady else ()
        self._cadence_rpm = 60.0 * revs / elapsed_s if steady else None
        self._torque_nm = _torque_nm(reading, last, revs, self._cadence_rpm) if self._cadence_rpm else None
        self._revolutions += revs
        now = (reading.crank_revs or 0, reading.crank_time_1024 or 0)
        self._event = _Event(*now, reading.torque_total_32, reading.received_us, sensor_s)
        return Crank(self._revolutions, (*events, sensor_s), self._cadence_rpm, self._torque_nm)


def _without_events(reading: PowerReading, revolutions: int) -> Crank:
    """A sensor that sends cadence or nothing."""
    cadence_rpm = reading.cadence_rpm
    known = cadence_rpm and reading.power_w is not None
    torque_nm = crank_torque_nm(reading.power_w or 0.0, cadence_rpm or 1.0) if known else None
    return Crank(revolutions, (), cadence_rpm, torque_nm)


def _elapsed_s(last: _Event, time_1024: int, received_us: int) -> float:
    """Sensor time since the last event, including wraps of its clock counted by the host's."""
    elapsed_s = (time_1024 - last.time_1024) % WRAP / TICKS_PER_S
    host_s = (received_us - last.received_us) / 1e6
    return elapsed_s + WRAP_S * max(0, round((host_s - elapsed_s) / WRAP_S))


def _torque_nm(reading: PowerReading, last: _Event, revs: int, cadence_rpm: float) -> float | None:
    """From the accumulated torque if both readings have it, otherwise from the power."""
    if reading.torque_total_32 is not None and last.torque_32 is not None:
        added = (reading.torque_total_32 - last.torque_32 + WRAP // 2) % WRAP - WRAP // 2
        return added / 32.0 / revs
    return None if reading.power_w is None else crank_torque_nm(reading.power_w, cadence_rpm)
