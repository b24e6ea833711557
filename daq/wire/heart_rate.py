"""Heart Rate Measurement, characteristic 0x2A37, both ways. Bluetooth SIG, GATT Specification Supplement."""

from __future__ import annotations

from dataclasses import dataclass

from daq.wire.fields import Reader, put, uuid

SERVICE_UUID = uuid(0x180D)
MEASUREMENT_UUID = uuid(0x2A37)
WIDE, CONTACT, CONTACT_SUPPORTED, ENERGY, INTERVALS = 1, 2, 4, 8, 16


@dataclass(frozen=True, slots=True)
class HeartRate:
    """One notification."""

    bpm: int
    contact: bool | None = None
    """None when the sensor cannot tell."""
    energy_kj: int | None = None
    """The unit is that of the 2011 definition; the Supplement only says joule."""
    rr_1024: tuple[int, ...] = ()
    """Beat to beat intervals, 1/1024 s, oldest first."""


def decode_heart_rate(value: bytes) -> HeartRate:
    """The measurement in one notification. BadValue when too short or with half an interval."""
    reader = Reader(value, "heart rate measurement")
    flags = reader.take(1, "flags")
    return HeartRate(
        bpm=reader.take(2 if flags & WIDE else 1, "rate"),
        contact=bool(flags & CONTACT) if flags & CONTACT_SUPPORTED else None,
        energy_kj=reader.take(2, "energy") if flags & ENERGY else None,
        rr_1024=reader.take_rest(2, "intervals") if flags & INTERVALS else (),
    )


def encode_heart_rate(heart: HeartRate) -> bytes:
    """The notification that carries this measurement."""
    wide = heart.bpm > 0xFF
    flags = WIDE if wide else 0
    flags |= 0 if heart.contact is None else CONTACT_SUPPORTED | (CONTACT if heart.contact else 0)
    flags |= 0 if heart.energy_kj is None else ENERGY
    flags |= INTERVALS if heart.rr_1024 else 0
    energy = b"" if heart.energy_kj is None else put(heart.energy_kj, 2, "energy")
    intervals = b"".join(put(rr, 2, "intervals") for rr in heart.rr_1024)
    return bytes([flags]) + put(heart.bpm, 2 if wide else 1, "rate") + energy + intervals
