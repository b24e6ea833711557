"""Which sensors cut strokes and give torque: each combination a rig file can name."""

from dataclasses import replace

import numpy as np
import pytest

from daq.items import CADENCE, POWER, Notification
from daq.pipeline import Pipeline
from daq.rig import BleSensor
from daq.values import Stroke
from daq.wire import csc, cycling_power, heart_rate, indoor_bike
from tests.ridden import CALIBRATION, HELLO, RATE_HZ, RIG, scans
from tests.wire import sensors_sending

TURN_S = 60.0 / 90.0
WITH_CADENCE = RIG.model_copy(update={"cadence": BleSensor(name="c")})


def power(i, crank=True):
    fields = {"crank_revs": i, "crank_time_1024": round(i * TURN_S * 1024) % 65536} if crank else {}
    return cycling_power.MEASUREMENT_UUID, cycling_power.encode_power(cycling_power.PowerMeasurement(200, **fields))


def cadence(i):
    turn = csc.CscMeasurement(crank_revs=i, crank_time_1024=round(i * TURN_S * 1024) % 65536)
    return csc.MEASUREMENT_UUID, sensors_sending.csc(turn)


def bike(_):
    data = indoor_bike.IndoorBikeData(cadence_half_rpm=180, power_w=200)
    return indoor_bike.INDOOR_BIKE_UUID, sensors_sending.indoor_bike(data)


def heart(_):
    return heart_rate.MEASUREMENT_UUID, b"\x00\x78"  # 120 beats a minute


def strokes(rig, sensors, seconds=30):
    """The strokes of a ride at 90 rpm with these sensors, each sending once a turn, and no crank mark on the board."""
    pipeline = Pipeline(rig, CALIBRATION, mass_kg=75.0)
    pipeline.feed(HELLO)
    rng = np.random.default_rng(3)
    found, turn = [], 0
    for second in range(seconds):
        samples = scans(second * RATE_HZ, RATE_HZ, rng=rng)
        found += pipeline.feed(replace(samples, status=np.zeros(RATE_HZ, np.uint8)))
        while (turn + 1) * TURN_S <= second + 1:
            turn += 1
            for source, characteristic in sensors:
                uuid, payload = characteristic(turn)
                pipeline.feed(Notification(int(turn * TURN_S * 1e6) + 20_000, source, uuid, payload))
    return [output for output in found if isinstance(output, Stroke)]


@pytest.mark.parametrize(
    ("rig", "sensors"),
    [
        (RIG, [(POWER, power)]),
        (RIG, [(POWER, bike)]),
        (RIG, [(POWER, bike), (POWER, cadence)]),
        (RIG, [(POWER, lambda i: power(i, crank=False)), (POWER, cadence)]),
        (WITH_CADENCE, [(POWER, bike), (CADENCE, cadence)]),
        (WITH_CADENCE, [(POWER, power), (CADENCE, cadence)]),
        (WITH_CADENCE, [(POWER, power), (CADENCE, power), ("heart", heart)]),
    ],
    ids=[
        "crank power",
        "bike, turns by the ripple",
        "bike and cadence in one",
        "power and cadence in one",
        "bike, cadence",
        "both",
        "two cranks",
    ],
)
def test_strokes_are_whole_turns_with_the_torque_of_the_power(rig, sensors):
    found = strokes(rig, sensors)

    assert len(found) > 30
    assert [stroke.cadence_rpm for stroke in found[5:]] == pytest.approx([90.0] * len(found[5:]), rel=0.01)
    # 60 P / (2 pi n) for 200 W at 90 rpm
    assert found[-1].crank_torque_nm == pytest.approx(21.22, rel=0.01)


def test_with_a_cadence_sensor_in_the_rig_the_power_sensors_counters_cut_nothing():
    assert strokes(WITH_CADENCE, [(POWER, power)]) == []
