"""How the reference board keeps its times: measured on its machine code, cycle by cycle.

The limits of the two-wire bus are those of the common 24-bit weighing converter's data sheet, from memory: data ready
to first pulse 0.1 us at least, clock high 0.2 to 50 us, low 0.2 us at least, powered down after 60 us high.
"""

import re

import numpy as np
import pytest

from daq.sources.reference_bench import MARK, QUICK
from daq.wire import board
from tests.firmware.running import MS, S, running, scans, wrong_counts

MHZ = 16
RX, TX, TIMER, MARKED, READY = 18, 19, 14, 1, 5
BYTE_US = 40  # at 250 000 baud


@pytest.fixture(scope="module")
def measured(built):
    """Ten seconds with all there is: drifting converters, marks, a talkative host."""
    with running(built, spread=True) as on:
        for i in range(14):
            on.bench.at((0.7 + 0.667 * i) * S, MARK, 0)
            on.bench.at((0.72 + 0.667 * i) * S, MARK, 1)
        for i in range(90):
            on.bench.hear(board.encode_command(board.Command(1 + i, board.CommandOp.HELLO)), (0.5 + 0.1 * i) * S)
        on.run(10)
        yield on, on.bench.figures()


def test_the_two_wire_bus_keeps_inside_its_limits(measured):
    _, figures = measured

    assert figures["high_least"] >= 0.2 * MHZ
    assert figures["high_most"] <= 1.0 * MHZ  # no interrupt falls into a pulse: typical is 1 us, 50 us is the end
    assert figures["low_least"] >= 0.2 * MHZ
    assert figures["first_least"] >= 0.1 * MHZ


def test_every_conversion_is_read_within_half_of_its_period_and_none_in_the_middle_of_the_next(measured):
    _, figures = measured

    assert figures["late_most"] <= 6.25 * MS * MHZ
    assert figures["torn"] == figures["overtaken"] == figures["incomplete"] == 0


@pytest.mark.parametrize("looks", [1, 2, 3, 4])
def test_a_conversion_that_ends_while_the_board_looks_at_its_line_is_read_like_any_other(built, looks):
    """The line is high when it is read, and falls before the next instruction. The first look is the one that watches
    it: no interrupt tells of what falls before the mask is written."""
    with running(built) as on:
        on.run(1)
        before = on.bench.figures()
        on.bench.at(on.bench.now_us, QUICK, looks, 1)
        got = scans(on.run(0.3))
        after = on.bench.figures()

        assert after["conversions"] - before["conversions"] == 4 * 0.3 * 80 + 1
        assert after["overtaken"] == 0
        assert not got.status.any()
        assert wrong_counts(got.counts[:, [1]], only=(1,), left_out=1) == 0
        assert wrong_counts(got.counts[:, [0, 2, 3]], only=(0, 2, 3)) == 0


def test_no_interrupt_waits_longer_than_the_line_allows(measured):
    """The receiver holds one byte while the next comes in; the tick of a data-ready edge is late by its latency."""
    _, figures = measured

    worst_us = {vector: figures["latency"][vector] / MHZ for vector in (RX, TX, TIMER, MARKED, READY)}
    assert worst_us[RX] < BYTE_US
    assert max(worst_us.values()) < 50
    assert worst_us[READY] < 25
    assert min(figures["served"][vector] for vector in worst_us) > 10


def test_the_chip_sleeps_three_quarters_of_its_time(measured):
    on, figures = measured

    busy = figures["cycles"] - figures["idle"]
    assert busy / figures["cycles"] < 0.25
    assert busy / on.decoder.scans < 50_000  # of the 200 000 cycles between two scans


def test_five_channels_at_eighty_scans_use_less_than_a_third_of_the_line(built):
    with running(built) as on:
        on.run(1)
        sent = len(on.bench.run(on.bench.now_us + 10 * S))

        assert sent * 10 / 10 / 250_000 < 1 / 3


def test_the_stack_never_comes_near_the_variables(measured):
    _, figures = measured

    assert figures["stack_untouched"] >= 400


def test_the_build_prints_what_it_uses_and_refuses_more(built):
    """The bounds are the Makefile's; 32 768 and 2 048 bytes are the chip's."""
    told = re.fullmatch(
        r"for 4 converters, tilt 1, 16000000 Hz: flash (\d+) of (\d+) bytes, RAM (\d+) of (\d+) bytes before the stack",
        built.said,
    )

    flash, flash_most, ram, ram_most = map(int, told.groups())
    assert 0 < flash <= flash_most <= 32_768
    assert 0 < ram <= ram_most <= 2_048 - 500


def test_a_crank_mark_is_never_lost_while_the_board_is_busy(measured):
    on, _ = measured

    assert int(((scans(on.items).status & 8) != 0).sum()) == 14
    assert np.diff(np.flatnonzero(scans(on.items).status & 8)).min() > 40
