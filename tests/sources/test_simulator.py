"""The simulated board, asked over its port as a real one is."""

import asyncio
import os

import numpy as np
import pytest
import uvloop

from daq.rider.bench_jig import BenchJig
from daq.sources.clock import SessionClock
from daq.sources.simulator import UNSENT_AT_MOST, SimulatedBoard, slower
from daq.values import Samples, Status, joined
from daq.wire import board
from tests.sources.waiting import running, until


def heard(inside):
    """What a simulated board says while `inside` acts: it is given a way to ask, and the list of what was said."""
    jig, said = BenchJig(np.random.default_rng(1)), []
    simulated = SimulatedBoard(jig, SessionClock(), on_notification=lambda *_: None, before_beat=lambda: None)
    decoder = board.BoardDecoder("board")

    async def listen():
        port = os.open(simulated.port, os.O_RDWR | os.O_NONBLOCK | os.O_NOCTTY)
        loop = asyncio.get_running_loop()
        loop.add_reader(port, lambda: said.extend(decoder.feed(os.read(port, 65_536), 0)))
        try:
            async with running(simulated.run()):
                await inside(lambda command: os.write(port, board.encode_command(command)), said)
        finally:
            loop.remove_reader(port)
            os.close(port)

    uvloop.run(listen())
    return said, decoder


def scans(said):
    return [item for item in said if isinstance(item, Samples)]


def hellos(said):
    return [item for item in said if isinstance(item, board.HelloBody)]


def test_a_slower_rate_is_obeyed_and_no_number_is_missing():
    async def ask(send, said):
        await until(lambda: len(scans(said)) > 3)
        send(board.set_rate(1, 24.0))
        await until(lambda: hellos(said)[-1].scan_rate_hz == 25.0)
        said.clear()
        await until(lambda: sum(map(len, scans(said))) > 10)

    said, decoder = heard(ask)

    ticks = joined(scans(said)).ticks_us.astype(np.int64)
    assert set(np.diff(ticks)) == {40_000}
    assert decoder.dropped == decoder.damaged == 0


def test_at_half_the_gain_a_cell_shows_half_the_counts():
    async def ask(send, said):
        await until(lambda: sum(map(len, scans(said))) > 20)
        send(board.set_gain(1, 2, 64))
        await until(lambda: sum(map(len, scans(said[changed(said) :]))) > 20)

    def changed(said):
        """The hello that says so comes between the last scan before and the first one after."""
        of_half = (i for i, one in enumerate(said) if hellos([one]) and one.channels[2].gain == 64)
        return next(of_half, len(said))

    said, _ = heard(ask)

    at = changed(said)
    # the zero of the saddle's nose is 90331 counts at gain 128, the noise 240 counts rms
    means = [joined(scans(part)).counts.mean(axis=0) for part in (said[:at], said[at:])]
    assert means[1][2] / means[0][2] == pytest.approx(0.5, abs=0.005)
    assert means[1][0] / means[0][0] == pytest.approx(1.0, abs=0.02)


def test_stopped_it_sends_hellos_only_and_started_again_no_number_is_missing():
    async def ask(send, said):
        await until(lambda: len(scans(said)) > 3)
        send(board.Command(1, board.CommandOp.STOP))
        await until(lambda: not hellos(said)[-1].running)
        said.clear()
        await until(lambda: len(hellos(said)) > 1)
        assert scans(said) == []
        send(board.Command(2, board.CommandOp.START))
        await until(lambda: len(scans(said)) > 3)

    _, decoder = heard(ask)

    assert decoder.dropped == 0


def test_a_slower_scan_is_the_mean_of_its_conversions_with_the_marks_of_all():
    n = 10
    status = np.zeros(n, dtype=np.uint8)
    status[4] = Status.CRANK_MARK
    at_once = Samples(
        "board",
        np.zeros(n, dtype=np.int64),
        np.arange(n, dtype=np.uint32) * 10,
        np.arange(n, dtype=np.uint16),
        status,
        np.arange(2 * n, dtype=np.int32).reshape(n, 2),
    )

    got, left = slower(None, at_once, 4)

    assert got.ticks_us.tolist() == [30, 70]
    assert got.counts.tolist() == [[3, 4], [11, 12]]
    assert got.status.tolist() == [0, Status.CRANK_MARK]
    assert left.ticks_us.tolist() == [80, 90]
    assert slower(left, at_once, 4)[0].ticks_us.tolist() == [10, 50, 90]


def test_a_reader_too_slow_for_the_board_is_behind_by_no_more_than_the_board_keeps():
    """A port that takes a little at every beat is not a port that takes all: hours of scans would pile up."""
    clock = SessionClock()
    simulated = SimulatedBoard(
        BenchJig(np.random.default_rng(1)), clock, on_notification=lambda *_: None, before_beat=lambda: None
    )
    simulated.unsent = bytes(3 * UNSENT_AT_MOST)

    simulated.write()

    assert len(simulated.unsent) <= UNSENT_AT_MOST
