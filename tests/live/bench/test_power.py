"""The time the power is on counts from the board's last start, and anew after a silence."""

import numpy as np
import pytest

from daq.live.bench.power import PowerOn
from daq.values import Samples


def scans(at_s):
    n = 2
    received_us = np.array([at_s, at_s + 1.0]) * 1e6
    return Samples("board", received_us.astype(np.int64), *(np.zeros(n, np.uint32) for _ in range(3)), np.zeros((n, 1)))


def on_s(*heard):
    power = PowerOn()
    for at_s, boot in heard:
        power.feed(scans(at_s), boot)
    return power.on_s


def test_time_counts_from_the_first_scan():
    assert on_s() == 0.0
    assert on_s((100.0, 1), (103.0, 1)) == 4.0


def test_a_restart_of_the_board_and_a_long_silence_begin_anew():
    assert on_s((100.0, 1), (103.0, 2)) == 1.0
    assert on_s((100.0, 1), (160.0, 1), (162.0, 1)) == 3.0
    assert on_s((100.0, 1), (105.9, 1)) == pytest.approx(6.9), "the plug was never out for 5 s"
    assert on_s((100.0, 1), (106.1, 1)) == 1.0
