"""One reading: when it is complete, what of it counts, and the creep it follows."""

import numpy as np
import pytest

from daq.live.bench.reading import BenchReading
from daq.measure.calibration.steadiness import FEWEST_SCANS, settled
from daq.values import Samples

RATE_HZ = 100


def scans(from_s, to_s, counts=1000):
    """Scans of two cells; the second one shows the session's seconds."""
    t_s = np.arange(round(from_s * RATE_HZ), round(to_s * RATE_HZ)) / RATE_HZ
    n, received_us = len(t_s), np.rint(t_s * 1e6).astype(np.int64)
    both = np.column_stack([np.full(n, counts), 100 * t_s]).round().astype(np.int32)
    return Samples(
        "board", received_us, received_us.astype(np.uint32), np.arange(n).astype(np.uint16), np.zeros(n, np.uint8), both
    )


def fed(reading, *parts):
    for part in parts:
        reading.feed(part)
    return reading


def test_a_reading_is_complete_when_its_time_is_over_and_it_has_scans_enough():
    short, long = scans(0.0, 2.99), scans(0.0, 3.01)
    few = Samples(
        "board",
        *(
            column[:: len(long) // (FEWEST_SCANS - 2)]
            for column in (long.received_us, long.ticks_us, long.sequence, long.status, long.counts)
        ),
    )

    assert not fed(BenchReading(3.0), short).complete
    assert fed(BenchReading(3.0), long).complete
    assert not fed(BenchReading(2.0), few).complete


def test_only_the_last_part_of_a_warm_up_counts():
    reading = fed(BenchReading(60.0, keep_s=10.0), *(scans(t, t + 1, counts=t) for t in range(60)))

    kept = reading.settled()

    assert reading.seconds == pytest.approx(59.99)
    assert 1000 <= kept.scans <= 1100
    assert kept.mean[0] == pytest.approx(54.5, abs=0.6)


def test_a_creep_is_followed_mean_by_mean_from_the_first_reading_on():
    first = settled(np.arange(300) / RATE_HZ, scans(0.0, 3.0).counts)
    reading = fed(BenchReading(3.0, trace_every_s=1.0, first=first), scans(5.0, 8.01))

    (began, *later) = reading.trace(1)

    assert began == (0.0, first.mean[1])
    assert [t_s for t_s, _ in later] == pytest.approx([0.5 + 1.5, 1.5 + 1.5, 2.5 + 1.5], abs=0.02)
    assert [counts for _, counts in later] == pytest.approx([550.0, 650.0, 750.0], abs=1.0)
