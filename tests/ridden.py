"""A whole sweep as items: what a made-up rider's board and power sensor send, and what the fitter does."""

import dataclasses
import itertools

import numpy as np

from daq.items import FITTER, SWEEP_BEGUN, Event, Hello, Notification
from daq.jig import beginning
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.pipeline import Pipeline
from daq.ride import Ride
from daq.rig_file import parse_rig
from daq.sweep.plan import Plan
from daq.values import Samples, Status, cut
from daq.wire import cycling_power
from tests.rigs import rig_text

RIG = parse_rig(rig_text())
CHANNELS = (
    CalibratedChannel("hands", "force", (0.0, 0.001), zero_counts=100.0),
    CalibratedChannel("saddle", "force", (0.0, 0.002)),
    CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
)
CALIBRATION = Calibration("test", "2026-01-01T00:00:00+00:00", CHANNELS)
HELLO = Hello(0, "board", {"channels": [{"name": "tilt"}, {"name": "hands"}, {"name": "saddle"}]})
PLAN = Plan(positions_mm=(80.0, 60.0, 40.0, 50.0, 70.0), settle_s=2.0, dwell_s=5.0, torque_band_nm=3.0)
RATE_HZ = 100


def scans(start, count, *, setback_mm=80.0, rng):
    """count scans from number start on: a rider at 90 rpm whose hands carry more forward of 55 mm."""
    i = start + np.arange(count)
    turns = i / RATE_HZ * 1.5
    hands_n = 80.0 + 2.0 * max(0.0, 55.0 - setback_mm) + 20.0 * np.cos(4 * np.pi * turns) + rng.normal(0, 1, count)
    saddle_n = 430.0 - 10.0 * np.cos(4 * np.pi * turns)
    counts = np.column_stack([np.full(count, 30), hands_n * 1000 + 100, saddle_n * 500]).astype(np.int32)
    marks = np.floor(turns) > np.floor((i - 1) / RATE_HZ * 1.5)
    return Samples(
        "board",
        i * 10_000 + 1_500 + rng.integers(0, 3000, count),
        (i * 10_000).astype(np.uint32),
        i.astype(np.uint16),
        (marks * Status.CRANK_MARK).astype(np.uint8),
        counts,
    )


def ridden(pieces, seconds=14):
    """The items of a whole sweep, so many seconds a position, its scans cut into pieces of this many."""
    rng = np.random.default_rng(7)
    begun = beginning(PLAN, mass_kg=75.0, channels=("tilt", "hands", "saddle"), zero_counts=None)
    items = [HELLO, Event(1, SWEEP_BEGUN, begun), Event(2, FITTER, {"event": "begin"})]
    start = 0
    for setback_mm in PLAN.positions_mm:
        moved_us = start * 10_000 + 100
        items.append(Event(moved_us, FITTER, {"event": "saddle_moved", "setback_mm": setback_mm}))
        for _ in range(seconds):
            block = scans(start, RATE_HZ, setback_mm=setback_mm, rng=rng)
            edges = [*range(0, RATE_HZ, pieces), RATE_HZ]
            items += [cut(block, slice(a, b)) for a, b in itertools.pairwise(edges)]
            items.append(power(start * 10_000 + 999_000, start + RATE_HZ))
            start += RATE_HZ
    return items


def power(received_us, scan):
    revs = int(scan / RATE_HZ * 1.5)
    measurement = cycling_power.PowerMeasurement(
        power_w=200, crank_revs=revs % 65536, crank_time_1024=int(revs / 1.5 * 1024) % 65536
    )
    return Notification(received_us, "power", cycling_power.MEASUREMENT_UUID, cycling_power.encode_power(measurement))


def outputs_of(items):
    pipeline = Pipeline(RIG, CALIBRATION)
    return [output for item in items for output in pipeline.feed(item)], pipeline


def kept(outputs, *kinds):
    return [output for output in outputs if isinstance(output, kinds)]


def fed(items, ride=None):
    """What came of the items, and the ride."""
    ride = ride or Ride(RIG, CALIBRATION)
    return [output for item in items for output in ride.feed(item)], ride


def with_one_more_position():
    """A ridden sweep whose plan is not done yet."""
    longer = dataclasses.replace(PLAN, positions_mm=(*PLAN.positions_mm, 80.0))
    items = ridden(pieces=RATE_HZ)
    content = {**items[1].content, "plan": dataclasses.asdict(longer)}
    items[1] = dataclasses.replace(items[1], content=content)
    return items
