"""Cycling Speed and Cadence: measurement 0x2A5B both ways, feature 0x2A5C, and where a sensor sits, 0x2A5D.

Bluetooth SIG, GATT Specification Supplement. Its wheel time counts 1/1024 s, in 0x2A63 it is 1/2048 s.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from daq.values import PowerReading
from daq.wire.fields import BadValue, Field, Reader, put_fields, uuid

SERVICE_UUID = uuid(0x1816)
MEASUREMENT_UUID = uuid(0x2A5B)
FEATURE_UUID = uuid(0x2A5C)
LOCATION_UUID = uuid(0x2A5D)
_FIELDS = (
    Field(1 << 0, "wheel_revs", 4),
    Field(1 << 0, "wheel_time_1024", 2),
    Field(1 << 1, "crank_revs", 2),
    Field(1 << 1, "crank_time_1024", 2),
)


@dataclass(frozen=True, slots=True)
class CscMeasurement:
    """One notification. None: not sent."""

    wheel_revs: int | None = None
    wheel_time_1024: int | None = None
    crank_revs: int | None = None
    crank_time_1024: int | None = None


class CscFeature(enum.IntFlag):
    """Bits of the CSC Feature."""

    WHEEL = 1
    CRANK = 2
    MULTIPLE_LOCATIONS = 4


class Location(enum.IntEnum):
    """Where on the bicycle or rider a sensor sits."""

    OTHER = 0
    TOP_OF_SHOE = 1
    IN_SHOE = 2
    HIP = 3
    FRONT_WHEEL = 4
    LEFT_CRANK = 5
    RIGHT_CRANK = 6
    LEFT_PEDAL = 7
    RIGHT_PEDAL = 8
    FRONT_HUB = 9
    REAR_DROPOUT = 10
    CHAINSTAY = 11
    REAR_WHEEL = 12
    REAR_HUB = 13
    CHEST = 14
    SPIDER = 15
    CHAIN_RING = 16


def decode_csc(value: bytes) -> CscMeasurement:
    """The measurement in one notification. BadValue if the value is shorter than its flags announce."""
    reader = Reader(value, "speed and cadence measurement")
    flags = reader.take(1, "flags")
    return CscMeasurement(**reader.take_fields(_FIELDS, flags))


def encode_csc(measurement: CscMeasurement) -> bytes:
    """The notification that carries this measurement."""
    flags, payload = put_fields(measurement, _FIELDS)
    return bytes([flags]) + payload


def decode_csc_feature(value: bytes) -> CscFeature:
    """The feature bits, reserved ones left out."""
    return CscFeature(Reader(value, "speed and cadence feature").take(2, "features") & 7)


def decode_location(value: bytes) -> Location:
    """Where the sensor sits. BadValue for a reserved number."""
    number = Reader(value, "sensor location").take(1, "location")
    if number not in Location.__members__.values():
        raise BadValue(f"sensor location: expected 0 to {max(Location)}, got {number}")
    return Location(number)


def cadence_reading(measurement: CscMeasurement, *, source: str, received_us: int) -> PowerReading:
    """Its crank data; the power is unknown."""
    return PowerReading(
        source=source,
        received_us=received_us,
        crank_revs=measurement.crank_revs,
        crank_time_1024=measurement.crank_time_1024,
    )
