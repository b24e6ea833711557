"""Cycling Speed and Cadence: measurement 0x2A5B.

Bluetooth SIG, GATT Specification Supplement. Its wheel time counts 1/1024 s, in 0x2A63 it is 1/2048 s.
"""

from __future__ import annotations

from dataclasses import dataclass

from daq.values import PowerReading
from daq.wire.fields import PresentField, Reader, uuid

SERVICE_UUID = uuid(0x1816)
MEASUREMENT_UUID = uuid(0x2A5B)
FEATURE_UUID = uuid(0x2A5C)
FIELDS = (
    PresentField(1 << 0, "wheel_revs", 4),
    PresentField(1 << 0, "wheel_time_1024", 2),
    PresentField(1 << 1, "crank_revs", 2),
    PresentField(1 << 1, "crank_time_1024", 2),
)


@dataclass(frozen=True, slots=True)
class CscMeasurement:
    """One notification. None: not sent."""

    wheel_revs: int | None = None
    wheel_time_1024: int | None = None
    crank_revs: int | None = None
    crank_time_1024: int | None = None


def decode_csc(value: bytes) -> CscMeasurement:
    """The measurement in one notification. BadPayload if the value is shorter than its flags announce."""
    reader = Reader(value, "speed and cadence measurement")
    flags = reader.take(1, "flags")
    return CscMeasurement(**reader.take_fields(FIELDS, flags))


def cadence_reading(measurement: CscMeasurement, *, source: str, received_us: int) -> PowerReading:
    """Its crank data; the power is unknown."""
    return PowerReading(
        source=source,
        received_us=received_us,
        crank_revs=measurement.crank_revs,
        crank_time_1024=measurement.crank_time_1024,
    )
