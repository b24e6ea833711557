"""What a bench shows of a channel: the mean of the last half second, and how it moved over two."""

import numpy as np
import pytest

from daq.live.bench.lately import Lately
from daq.values import Samples


def scans(from_s, to_s, counts):
    """A hundred scans a second with these counts."""
    received_us = np.arange(round(100 * from_s), round(100 * to_s), dtype=np.int64) * 10_000
    n = len(received_us)
    return Samples(
        "board",
        received_us,
        received_us.astype(np.uint32),
        np.arange(n, dtype=np.uint16),
        np.zeros(n, dtype=np.uint8),
        np.full((n, 1), counts, dtype=np.int32),
    )


def test_a_weight_put_on_half_a_second_ago_is_shown_in_full_and_as_a_movement():
    lately = Lately(0.0)
    for from_s in range(4):
        lately.feed(scans(from_s, from_s + 1, 100))
    lately.feed(scans(4.0, 4.5, 300))

    now, moved = lately.shows(0)

    assert now == 300.0
    assert moved == pytest.approx(200.0 * 50 / 62.5, rel=0.02)  # the last quarter of 2.5 s holds 12.5 scans from before


def test_after_two_seconds_a_change_is_no_movement_any_more():
    lately = Lately(0.0)
    lately.feed(scans(0.0, 1.0, 100))
    for from_s in range(1, 5):
        lately.feed(scans(from_s, from_s + 1, 300))

    assert lately.shows(0) == (300.0, 0.0)
