"""What a power sensor can do (0x2A65) and how it is asked to do it (Control Point, 0x2A66).

Bits and op codes: Bluetooth SIG, GATT Specification Supplement. The answer's parameter and its unit, and that
0xFFFF in it means "no valid offset": Cycling Power Service, from memory.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from daq.wire.fields import BadPayload, Reader, put, uuid

FEATURE_UUID = uuid(0x2A65)
CONTROL_POINT_UUID = uuid(0x2A66)
RESPONSE = 0x20
INVALID_OFFSET = -1
"""0xFFFF read as a signed number."""


class Feature(enum.IntFlag):
    """Bits of the Cycling Power Feature."""

    BALANCE = 1 << 0
    ACCUMULATED_TORQUE = 1 << 1
    WHEEL = 1 << 2
    CRANK = 1 << 3
    EXTREME_MAGNITUDES = 1 << 4
    EXTREME_ANGLES = 1 << 5
    DEAD_SPOTS = 1 << 6
    ENERGY = 1 << 7
    OFFSET_COMPENSATION_INDICATOR = 1 << 8
    OFFSET_COMPENSATION = 1 << 9
    CONTENT_MASKING = 1 << 10
    MULTIPLE_LOCATIONS = 1 << 11
    CRANK_LENGTH = 1 << 12
    CHAIN_LENGTH = 1 << 13
    CHAIN_WEIGHT = 1 << 14
    SPAN_LENGTH = 1 << 15
    TORQUE_BASED = 1 << 16
    MEASUREMENT_DIRECTION = 1 << 17
    FACTORY_CALIBRATION_DATE = 1 << 18
    ENHANCED_OFFSET_COMPENSATION = 1 << 19


class Distribution(enum.IntEnum):
    """Bits 20 and 21 of the feature: whether this sensor may be one of a pair."""

    UNSPECIFIED = 0
    ALONE = 1
    PAIRED = 2
    RESERVED = 3


class ControlOp(enum.IntEnum):
    """Control point op codes a jig has a use for."""

    SET_CRANK_LENGTH = 0x04
    REQUEST_CRANK_LENGTH = 0x05
    START_OFFSET_COMPENSATION = 0x0C
    REQUEST_SAMPLING_RATE = 0x0E
    REQUEST_FACTORY_DATE = 0x0F
    START_ENHANCED_OFFSET_COMPENSATION = 0x10


class ControlResult(enum.IntEnum):
    """The result of a request."""

    SUCCESS = 1
    NOT_SUPPORTED = 2
    INVALID_OPERAND = 3
    FAILED = 4


@dataclass(frozen=True, slots=True)
class ControlResponse:
    """A sensor's answer."""

    op: int
    result: ControlResult
    parameter: bytes = b""

    @property
    def raw_offset(self) -> int | None:
        """Of an offset compensation: the raw force (N) or torque (1/32 N m, by Feature.TORQUE_BASED) at no load.

        None if it failed, or if the sensor marks its own value as invalid.
        """
        if (
            self.op != ControlOp.START_OFFSET_COMPENSATION
            or self.result != ControlResult.SUCCESS
            or len(self.parameter) < 2
        ):
            return None
        offset = int.from_bytes(self.parameter[:2], "little", signed=True)
        return None if offset == INVALID_OFFSET else offset


def decode_feature(value: bytes) -> tuple[Feature, Distribution]:
    """The feature bits, without reserved ones. BadPayload if shorter than four bytes."""
    bits = Reader(value, "cycling power feature").take(4, "features")
    return Feature(bits & 0xFFFFF), Distribution(bits >> 20 & 3)


def encode_request(op: ControlOp, crank_length_mm: float | None = None) -> bytes:
    """A request to write to the control point. The crank length goes in steps of 0.5 mm (from memory)."""
    if (op is ControlOp.SET_CRANK_LENGTH) != (crank_length_mm is not None):
        raise ValueError(f"a crank length belongs to SET_CRANK_LENGTH and to nothing else; got {op.name}")
    if crank_length_mm is None:
        return bytes([op])
    return bytes([op]) + put(round(crank_length_mm * 2), 2, "crank_length_mm")


def decode_response(value: bytes) -> ControlResponse:
    """The answer the sensor indicated. BadPayload if it is not an answer."""
    reader = Reader(value, "cycling power control point")
    code, op, result = (reader.take(1, name) for name in ("response code", "request op code", "result"))
    if code != RESPONSE or result not in ControlResult.__members__.values():
        raise BadPayload(
            f"cycling power control point: expected 20, an op code and a result 1 to 4, got {value.hex(' ')}"
        )
    return ControlResponse(op, ControlResult(result), value[3:])
