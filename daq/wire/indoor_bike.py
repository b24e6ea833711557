"""Indoor Bike Data, characteristic 0x2AD2 of the Fitness Machine service.

Bluetooth SIG, GATT Specification Supplement. Flag 0, "more data", is upside down: the speed is there when it is 0.
The resistance level is kept as sent: the Supplement contradicts itself about its unit.
"""

from __future__ import annotations

from dataclasses import dataclass

from daq.values import PowerReading
from daq.wire.fields import PresentField, Reader, uuid

SERVICE_UUID = uuid(0x1826)
INDOOR_BIKE_UUID = uuid(0x2AD2)
MORE_DATA = 1
SPEED = PresentField(MORE_DATA, "speed_hundredth_km_h", 2)
FIELDS = (
    PresentField(1 << 1, "mean_speed_hundredth_km_h", 2),
    PresentField(1 << 2, "cadence_half_rpm", 2),
    PresentField(1 << 3, "mean_cadence_half_rpm", 2),
    PresentField(1 << 4, "distance_m", 3),
    PresentField(1 << 5, "resistance", 1),
    PresentField(1 << 6, "power_w", 2, signed=True),
    PresentField(1 << 7, "mean_power_w", 2, signed=True),
    PresentField(1 << 8, "energy_kcal", 2),
    PresentField(1 << 8, "energy_kcal_per_hour", 2),
    PresentField(1 << 8, "energy_kcal_per_minute", 1),
    PresentField(1 << 9, "heart_rate_bpm", 1),
    PresentField(1 << 10, "metabolic_equivalent_tenth", 1),
    PresentField(1 << 11, "elapsed_s", 2),
    PresentField(1 << 12, "remaining_s", 2),
)


@dataclass(frozen=True, slots=True)
class IndoorBikeData:
    """One notification. None: not sent. Numbers as on the wire, in the unit the name ends in."""

    speed_hundredth_km_h: int | None = None
    mean_speed_hundredth_km_h: int | None = None
    cadence_half_rpm: int | None = None
    mean_cadence_half_rpm: int | None = None
    distance_m: int | None = None
    resistance: int | None = None
    power_w: int | None = None
    mean_power_w: int | None = None
    energy_kcal: int | None = None
    energy_kcal_per_hour: int | None = None
    energy_kcal_per_minute: int | None = None
    heart_rate_bpm: int | None = None
    metabolic_equivalent_tenth: int | None = None
    elapsed_s: int | None = None
    remaining_s: int | None = None


def decode_indoor_bike(value: bytes) -> IndoorBikeData:
    """The data in one notification. BadPayload when the value is shorter than its flags announce."""
    reader = Reader(value, "indoor bike data")
    flags = reader.take(2, "flags")
    speed = reader.take_fields((SPEED,), flags ^ MORE_DATA)
    return IndoorBikeData(**speed, **reader.take_fields(FIELDS, flags))


def bike_reading(bike: IndoorBikeData, *, source: str, received_us: int) -> PowerReading:
    """Power and cadence. This characteristic carries no crank events, so strokes cannot be cut by it."""
    return PowerReading(
        source=source,
        received_us=received_us,
        power_w=None if bike.power_w is None else float(bike.power_w),
        cadence_rpm=None if bike.cadence_half_rpm is None else bike.cadence_half_rpm / 2,
    )
