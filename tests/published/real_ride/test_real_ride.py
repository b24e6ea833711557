"""A real ride through the power path, gaps included: see SOURCE.md.

The ride's rows become what a crank sensor would have sent: power, the count of revolutions and the time of the last.
Rows without data become missing notifications.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from daq.items import SWEEP_BEGUN, Event, Hello, Notification
from daq.jig import beginning
from daq.pipeline import Pipeline
from daq.sweep.plan import Plan
from daq.values import Samples, Stroke
from daq.wire import cycling_power
from tests.ridden import CALIBRATION, RIG

RATE_HZ = 20
NAMES = ("hands", "saddle", "tilt")


def rows():
    with (Path(__file__).parent / "indoor_ride_1hz.csv").open() as file:
        for row in csv.DictReader(file):
            known = row["power"] != "" and row["cadence"] != ""
            yield int(row["t_s"]), (int(row["power"]), int(row["cadence"])) if known else None


def notifications():
    """One a second, as a crank sensor sends them; the crank turns on through rows without data as before them."""
    turns, cadence_rpm, before_s = 0.0, 0, 0
    passed, passed_s = 0, 0.0
    for t_s, known in rows():
        cadence_rpm = known[1] if known else cadence_rpm
        turns += cadence_rpm / 60.0 * (t_s - before_s)
        if math.floor(turns) > passed:
            passed, passed_s = math.floor(turns), t_s - (turns - math.floor(turns)) / (cadence_rpm / 60.0)
        before_s = t_s
        if known:
            payload = cycling_power.encode_power(
                cycling_power.PowerMeasurement(
                    power_w=known[0], crank_revs=passed % 65536, crank_time_1024=round(passed_s * 1024) % 65536
                )
            )
            yield Notification(t_s * 1_000_000 + 30_000, "power", cycling_power.MEASUREMENT_UUID, payload)


def second_of_scans(t_s):
    i = t_s * RATE_HZ + np.arange(RATE_HZ)
    at_us = i * (1_000_000 // RATE_HZ)
    counts = np.tile(np.array([80_100, 215_000, 0], dtype=np.int32), (RATE_HZ, 1))
    status = np.zeros(RATE_HZ, dtype=np.uint8)
    return Samples("board", at_us + 500, at_us.astype(np.uint32), (i % 65536).astype(np.uint16), status, counts)


@pytest.fixture(scope="module")
def strokes():
    """Every stroke of the ride, cut at the sensor's crank events, on a board without a crank mark."""
    plan = Plan(positions_mm=(80.0, 70.0, 60.0, 50.0, 40.0))
    begun = beginning(plan, mass_kg=75.0, channels=NAMES, zero_counts=None)
    pipeline = Pipeline(RIG, CALIBRATION)
    pipeline.feed(Hello(0, "board", {"channels": [{"name": name} for name in NAMES]}))
    pipeline.feed(Event(1, SWEEP_BEGUN, begun))
    sent = {item.received_us // 1_000_000: item for item in notifications()}
    found = []
    for t_s in range(2264):
        found += [o for o in pipeline.feed(second_of_scans(t_s)) if isinstance(o, Stroke)]
        if t_s in sent:
            pipeline.feed(sent[t_s])
    assert pipeline.refused == 0
    return found


def test_the_ride_is_what_its_source_says():
    known = [row for _, row in rows()]

    assert len(known) == 2263
    assert known.count(None) == 41


def held(ridden, t_s, what):
    """The row at t_s when power or cadence (what: 0 or 1) stayed as it is for two seconds around; else None."""
    around = [ridden.get(t_s + d) for d in (-2, -1, 0, 1, 2)]
    same = None not in around and len({row[what] for row in around}) == 1
    return ridden[t_s] if same and ridden[t_s][1] > 0 else None


def test_the_strokes_turn_as_the_ride_did(strokes):
    ridden = dict(rows())
    steady = [(stroke, row) for stroke in strokes if (row := held(ridden, int(stroke.mid_s), 1))]

    errors = [abs(stroke.cadence_rpm / row[1] - 1.0) for stroke, row in steady]

    # a crank time is good to 1/1024 s, but several revolutions in one reading are spread evenly over it
    assert len(errors) > 100
    assert np.median(errors) < 0.02


def test_torque_is_power_over_the_speed_of_the_crank(strokes):
    ridden = dict(rows())
    steady = [(stroke, row) for stroke in strokes if (row := held(ridden, int(stroke.mid_s), 1))]

    errors = [
        stroke.crank_torque_nm / (60.0 * stroke.power_w / (2.0 * math.pi * row[1])) - 1.0
        for stroke, row in steady
        if stroke.power_w > 0.0
    ]

    # Q = 60 P / (2 pi n), from the definition of power
    assert len(errors) > 100
    assert abs(np.median(errors)) < 0.02


def test_in_the_gap_of_36_seconds_nothing_is_invented(strokes):
    # rows 336 to 371 have no data
    inside = [stroke for stroke in strokes if stroke.start_s > 337 and stroke.end_s < 371]
    after = [stroke for stroke in strokes if 375 < stroke.start_s < 380]

    assert inside == []
    assert after
    assert not any(math.isnan(stroke.crank_torque_nm) for stroke in after)


def test_no_stroke_is_slower_or_faster_than_a_rider(strokes):
    assert all(20.0 <= stroke.cadence_rpm <= 150.0 for stroke in strokes)
    assert len(strokes) > 2000
