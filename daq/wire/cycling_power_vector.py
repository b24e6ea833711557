"""Cycling Power Vector, characteristic 0x2A64: force or torque around one crank turn, both ways.

Bluetooth SIG, GATT Specification Supplement. The spacing of the samples is not in the value: the sensor's sampling rate
has to be read from its control point.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from daq.wire.fields import BadPayload, PresentField, Reader, put, put_fields, uuid

CHARACTERISTIC = "cycling power vector"
VECTOR_UUID = uuid(0x2A64)
FORCES, TORQUES = 1 << 2, 1 << 3
MOST_SAMPLES = 9
_FIELDS = (
    PresentField(1 << 0, "crank_revs", 2),
    PresentField(1 << 0, "crank_time_1024", 2),
    PresentField(1 << 1, "first_angle_deg", 2),
)


class Direction(enum.IntEnum):
    """What the array was measured along."""

    UNKNOWN = 0
    TANGENTIAL = 1
    RADIAL = 2
    LATERAL = 3


@dataclass(frozen=True, slots=True)
class PowerVector:
    """One notification; arrays begin with the oldest sample, and only one of them is present."""

    crank_revs: int | None = None
    crank_time_1024: int | None = None
    first_angle_deg: int | None = None
    force_n: tuple[int, ...] = ()
    torque_32: tuple[int, ...] = ()
    """1/32 N m."""
    direction: Direction = Direction.UNKNOWN


def decode_vector(value: bytes) -> PowerVector:
    """The vector in one notification. BadPayload when too short, with half a sample, too many, or both arrays."""
    reader = Reader(value, CHARACTERISTIC)
    flags = reader.take(1, "flags")
    if flags & FORCES and flags & TORQUES:
        raise BadPayload(f"{CHARACTERISTIC}: announces forces and torques at once, which have no bound: {value.hex()}")
    fields = reader.take_fields(_FIELDS, flags)
    array = reader.take_rest(2, "samples", signed=True) if flags & (FORCES | TORQUES) else ()
    if len(array) > MOST_SAMPLES:
        raise BadPayload(f"{CHARACTERISTIC}: expected 0 to {MOST_SAMPLES} samples, got {len(array)}: {value.hex()}")
    return PowerVector(
        crank_revs=fields["crank_revs"],
        crank_time_1024=fields["crank_time_1024"],
        first_angle_deg=fields["first_angle_deg"],
        force_n=array if flags & FORCES else (),
        torque_32=array if flags & TORQUES else (),
        direction=Direction(flags >> 4 & 3),
    )


def encode_vector(vector: PowerVector) -> bytes:
    """The notification that carries this vector. ValueError when it holds both arrays."""
    if vector.force_n and vector.torque_32:
        raise ValueError(f"{CHARACTERISTIC}: forces or torques, not both")
    flags, payload = put_fields(vector, _FIELDS)
    flags |= vector.direction << 4 | (FORCES if vector.force_n else 0) | (TORQUES if vector.torque_32 else 0)
    array = vector.force_n or vector.torque_32
    return bytes([flags]) + payload + b"".join(put(x, 2, "samples", signed=True) for x in array)
