"""Cycling Power Measurement, characteristic 0x2A63, both ways.

Field order, sizes and units: Bluetooth SIG, GATT Specification Supplement. Integers are kept as sent, in the unit their
names end in, so that decoding and encoding gives the same bytes. Reserved flags are ignored, as the Supplement
requires, and so is anything a later edition may append.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from daq.values import PowerReading
from daq.wire.fields import PresentField, Reader, put, put_fields, uuid

CHARACTERISTIC = "cycling power measurement"
SERVICE_UUID = uuid(0x1818)
MEASUREMENT_UUID = uuid(0x2A63)
FULL_BALANCE = 200
"""100 %, in halves of a per cent."""


class Flag(enum.IntFlag):
    """The flags that do not announce a field."""

    BALANCE_LEFT = 1 << 1
    TORQUE_AT_CRANK = 1 << 3
    OFFSET_COMPENSATION = 1 << 12


_FIELDS = (
    PresentField(1 << 0, "balance_half_pct", 1),
    PresentField(1 << 2, "torque_total_32", 2),
    PresentField(1 << 4, "wheel_revs", 4),
    PresentField(1 << 4, "wheel_time_2048", 2),
    PresentField(1 << 5, "crank_revs", 2),
    PresentField(1 << 5, "crank_time_1024", 2),
    PresentField(1 << 6, "force_max_n", 2, signed=True),
    PresentField(1 << 6, "force_min_n", 2, signed=True),
    PresentField(1 << 7, "torque_max_32", 2, signed=True),
    PresentField(1 << 7, "torque_min_32", 2, signed=True),
    PresentField(1 << 8, "extreme_angles", 3),
    PresentField(1 << 9, "top_dead_spot_deg", 2),
    PresentField(1 << 10, "bottom_dead_spot_deg", 2),
    PresentField(1 << 11, "energy_kj", 2),
)


@dataclass(frozen=True, slots=True)
class PowerMeasurement:
    """One notification. None: not sent. Numbers as on the wire, in the unit the name ends in."""

    power_w: int
    """Signed."""
    balance_half_pct: int | None = None
    balance_left: bool = False
    """The balance is the left pedal's; otherwise the side is unknown."""
    torque_total_32: int | None = None
    """Accumulated torque, 1/32 N m."""
    torque_at_crank: bool = False
    """Accumulated at the crank; otherwise at the wheel."""
    wheel_revs: int | None = None
    wheel_time_2048: int | None = None
    """Last wheel event, 1/2048 s (in 0x2A5B it is 1/1024 s)."""
    crank_revs: int | None = None
    crank_time_1024: int | None = None
    """Last crank event, 1/1024 s."""
    force_max_n: int | None = None
    force_min_n: int | None = None
    torque_max_32: int | None = None
    torque_min_32: int | None = None
    extreme_angles: int | None = None
    """Two 12-bit angles in degrees: that of the maximum in the low half, of the minimum in the high half."""
    top_dead_spot_deg: int | None = None
    bottom_dead_spot_deg: int | None = None
    energy_kj: int | None = None
    offset_compensation: bool = False

    @property
    def balance_pct(self) -> float | None:
        """Pedal power balance; None when not sent, unknown (0xFF) or beyond 100 %."""
        if self.balance_half_pct is None or self.balance_half_pct > FULL_BALANCE:
            return None
        return self.balance_half_pct / 2

    @property
    def angle_max_deg(self) -> int | None:
        """Crank angle of the greatest force or torque, from 12 o'clock, clockwise with the front wheel to the right."""
        return None if self.extreme_angles is None else self.extreme_angles & 0xFFF

    @property
    def angle_min_deg(self) -> int | None:
        """Crank angle of the least force or torque."""
        return None if self.extreme_angles is None else self.extreme_angles >> 12


def decode_power(value: bytes) -> PowerMeasurement:
    """The measurement in one notification. BadPayload when the value is shorter than its flags announce."""
    reader = Reader(value, CHARACTERISTIC)
    flags = reader.take(2, "flags")
    return PowerMeasurement(
        power_w=reader.take(2, "power_w", signed=True),
        balance_left=bool(flags & Flag.BALANCE_LEFT),
        torque_at_crank=bool(flags & Flag.TORQUE_AT_CRANK),
        offset_compensation=bool(flags & Flag.OFFSET_COMPENSATION),
        **reader.take_fields(_FIELDS, flags),
    )


def encode_power(measurement: PowerMeasurement) -> bytes:
    """The notification that carries this measurement. ValueError for a number that does not fit its field."""
    flags, payload = put_fields(measurement, _FIELDS)
    flags |= Flag.BALANCE_LEFT if measurement.balance_left else 0
    flags |= Flag.TORQUE_AT_CRANK if measurement.torque_at_crank else 0
    flags |= Flag.OFFSET_COMPENSATION if measurement.offset_compensation else 0
    return put(flags, 2, "flags") + put(measurement.power_w, 2, "power_w", signed=True) + payload


def to_power_reading(measurement: PowerMeasurement, *, source: str, received_us: int) -> PowerReading:
    """What the rest of the program needs. Torque accumulated at the wheel says nothing about the crank."""
    return PowerReading(
        source=source,
        received_us=received_us,
        power_w=float(measurement.power_w),
        crank_revs=measurement.crank_revs,
        crank_time_1024=measurement.crank_time_1024,
        torque_total_32=measurement.torque_total_32 if measurement.torque_at_crank else None,
    )
