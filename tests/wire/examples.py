"""Scans and a hello to send, and how to compare what arrives."""

import numpy as np

from daq.values import Samples
from daq.wire import board

ARRAYS = ("received_us", "ticks_us", "sequence", "status", "counts")

HELLO = board.HelloBody(
    board_id="00112233aabbccdd",
    boot=7,
    firmware="bench 1.0",
    scan_rate_hz=1000.0,
    ticks_us=123_456,
    channels=(
        board.Channel("bar_left", board.ChannelKind.BRIDGE, 128, 1000.0, 24, 2.0**-21),
        board.Channel("tilt", board.ChannelKind.TILT, 1, 100.0, 16, None),
    ),
)


def scans(counts, *, first=0, ticks_us=None, status=None, received_us=0, source="jig"):
    """Samples 1 ms apart."""
    counts = np.asarray(counts, dtype=np.int64)
    n = len(counts)
    ticks_us = np.arange(n) * 1000 if ticks_us is None else np.asarray(ticks_us)
    return Samples(
        source=source,
        received_us=np.full(n, received_us, dtype=np.int64),
        ticks_us=(ticks_us % 2**32).astype(np.uint32),
        sequence=((first + np.arange(n)) % 2**16).astype(np.uint16),
        status=np.zeros(n, np.uint8) if status is None else np.asarray(status, dtype=np.uint8),
        counts=counts.astype(np.int32),
    )


def some_scans(n, k, rng, *, first=0):
    """n scans of k channels with any counts a 24-bit converter can give."""
    return scans(rng.integers(-(2**23), 2**23, (n, k)), first=first, status=rng.integers(0, 16, n))


def same(a, b, *, arrays=ARRAYS):
    return a.source == b.source and all(np.array_equal(getattr(a, x), getattr(b, x)) for x in arrays)


def rows(items):
    """Each scan among the items as a tuple, in order, receipt time left out."""
    return [
        (int(tick), int(sequence), int(status), *counts)
        for item in items
        if isinstance(item, Samples)
        for tick, sequence, status, counts in zip(
            item.ticks_us, item.sequence, item.status, item.counts.tolist(), strict=True
        )
    ]
