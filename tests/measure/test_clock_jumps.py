"""A board's clock that jumps is told from a restart, a stop, a stalled host and a wrap."""

from dataclasses import replace

import numpy as np
import pytest

from daq.measure.clock_jumps import ClockJumps
from daq.values import cut
from tests.wire.examples import scans

PERIOD_US = 12_500
N = 400
HELLO = {"boot": 3, "scan_rate_hz": 80.0}


def ridden(*, first_tick=0):
    i = np.arange(N)
    sent = scans(np.zeros((N, 1), int), first=65_400, ticks_us=first_tick + i * PERIOD_US)
    return replace(sent, received_us=5_000_000 + i * PERIOD_US)


def jumps(samples, hello=HELLO):
    watch = ClockJumps()
    watch.meet(hello)
    return watch.feed(samples)


@pytest.mark.parametrize("by_s", [40.0, -40.0, 1.5, -1.5])
def test_a_jump_is_found_where_it_is_with_its_size(by_s):
    sent = ridden(first_tick=100_000_000)
    ticks_us = sent.ticks_us.astype(np.int64)
    ticks_us[200:] += int(by_s * 1e6)

    ((i, found_s),) = jumps(replace(sent, ticks_us=(ticks_us % 2**32).astype(np.uint32)))

    assert (i, found_s) == (200, pytest.approx(by_s))


def test_a_wrap_of_the_ticks_is_no_jump():
    assert jumps(ridden(first_tick=2**32 - 2_000_000)) == []


def test_a_stop_of_the_scans_or_a_pulled_cable_is_no_jump():
    sent = ridden()
    later = np.where(np.arange(N) >= 200, 60_000_000, 0)
    stopped = replace(sent, ticks_us=(sent.ticks_us + later).astype(np.uint32), received_us=sent.received_us + later)
    pulled = replace(stopped, sequence=(sent.sequence + later // PERIOD_US).astype(np.uint16))

    assert jumps(stopped) == jumps(pulled) == []


def test_a_host_that_stalls_is_no_jump():
    sent = ridden()
    received_us = sent.received_us.copy()
    received_us[100:300] = received_us[300]

    assert jumps(replace(sent, received_us=received_us)) == []


def test_a_restart_that_the_hello_tells_is_no_jump():
    watch = ClockJumps()
    watch.meet(HELLO)
    before = ridden(first_tick=3_000_000_000)

    assert watch.feed(before) == []
    watch.meet({**HELLO, "boot": 4})
    assert watch.feed(replace(ridden(), received_us=before.received_us + N * PERIOD_US)) == []


def test_cut_anywhere_the_same_jump_is_found_once():
    sent = ridden()
    ticks_us = sent.ticks_us.copy()
    ticks_us[200:] += np.uint32(40_000_000)
    sent = replace(sent, ticks_us=ticks_us)

    for at in (1, 199, 200, 201, 399):
        watch = ClockJumps()
        watch.meet(HELLO)
        found = watch.feed(cut(sent, slice(0, at))) + [(i + at, s) for i, s in watch.feed(cut(sent, slice(at, N)))]
        assert found == [(200, pytest.approx(40.0))]


def test_without_a_rate_nothing_is_said():
    assert jumps(ridden(), {}) == []
