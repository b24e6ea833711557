"""Vectors: the layouts of the GATT Specification Supplement, worked out by hand; see tests/published/gatt."""

import pytest

from daq.values import PowerReading
from daq.wire import battery, csc, cycling_power, indoor_bike
from daq.wire.fields import BadPayload
from daq.wire.readings import reading_of


@pytest.mark.parametrize(
    ("uuid", "payload", "fields"),
    [
        (cycling_power.MEASUREMENT_UUID, "2000fa0010270004", {"power_w": 250.0, "crank_revs": 10000, "time": 1024}),
        (csc.MEASUREMENT_UUID, "02e8030004", {"crank_revs": 1000, "time": 1024}),
        (indoor_bike.INDOOR_BIKE_UUID, "4400c409b400c800", {"power_w": 200.0, "cadence_rpm": 90.0}),
    ],
)
def test_each_characteristic_gives_what_it_carries_and_nothing_else(uuid, payload, fields):
    fields = {("crank_time_1024" if name == "time" else name): value for name, value in fields.items()}

    reading = reading_of(uuid, bytes.fromhex(payload), source="power", received_us=7)

    assert reading == PowerReading("power", 7, **fields)


def test_a_battery_says_nothing_of_power():
    assert reading_of(battery.LEVEL_UUID, b"\x57", source="power", received_us=7) is None


def test_a_value_too_short_is_refused():
    with pytest.raises(BadPayload):
        reading_of(csc.MEASUREMENT_UUID, b"\x02\xe8", source="cadence", received_us=7)
