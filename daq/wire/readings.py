"""What a Bluetooth notification says of power and crank, whichever characteristic carried it."""

from __future__ import annotations

from daq.values import PowerReading
from daq.wire import csc, cycling_power, indoor_bike


def reading_of(characteristic: str, payload: bytes, *, source: str, received_us: int) -> PowerReading | None:
    """The reading in one notification; None for a characteristic that carries none. BadPayload for any other value.

    What a characteristic does not carry is None in it: a cadence sensor sends no power, an indoor bike no crank events.
    """
    if characteristic == cycling_power.MEASUREMENT_UUID:
        power = cycling_power.decode_power(payload)
        return cycling_power.to_power_reading(power, source=source, received_us=received_us)
    if characteristic == csc.MEASUREMENT_UUID:
        return csc.cadence_reading(csc.decode_csc(payload), source=source, received_us=received_us)
    if characteristic == indoor_bike.INDOOR_BIKE_UUID:
        return indoor_bike.bike_reading(indoor_bike.decode_indoor_bike(payload), source=source, received_us=received_us)
    return None
