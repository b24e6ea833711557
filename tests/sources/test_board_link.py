"""A board link on a real pseudo-terminal: from plugging in to scans at the rate of the rig file."""

import asyncio

import pytest
import uvloop

from daq.rig import SerialBoard
from daq.sources import board_talk, serial_port
from daq.sources.board_link import BoardLink
from daq.sources.clock import SessionClock
from daq.wire import board
from tests.sources.fake_board import FakeBoard, hello
from tests.sources.waiting import running, until


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(serial_port, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(board_talk, "SILENT_S", 0.4)


def linked(fake, *, gains=None, **wanted):
    """A link to this board with its decoder, as a session has it."""
    decoder = board.BoardDecoder("board")

    def arrive(received_us, data):
        for said in decoder.feed(data, received_us):
            link.heard(said)

    link = BoardLink(SerialBoard(port=fake.port, **wanted), SessionClock(), arrive, gains=gains)
    return link, decoder


def test_rate_and_gain_of_the_rig_file_reach_the_board():
    async def ask():
        fake = FakeBoard()
        link, decoder = linked(fake, rate_hz=500.0, gains={"saddle": 64})
        async with running(fake.run(), link.run()):
            await until(lambda: decoder.hello is not None and decoder.hello.scan_rate_hz == 500.0)
            await until(lambda: decoder.hello.channels[1].gain == 64)
            await until(lambda: not link.message)
        assert decoder.dropped == 0
        fake.unplug()

    uvloop.run(ask())


def test_a_board_that_cannot_is_told_in_its_own_words():
    async def ask():
        fake = FakeBoard(gains=(64, 128))
        link, _ = linked(fake, gains={"saddle": 32})
        async with running(fake.run(), link.run()):
            await until(lambda: link.message == "the board refuses a gain of 32 on saddle: gains are 64, 128")
        fake.unplug()

    uvloop.run(ask())


def test_a_stopped_board_is_started_and_scans_come():
    async def start():
        fake = FakeBoard(hello(running=False))
        link, decoder = linked(fake)
        async with running(fake.run(), link.run()):
            await until(lambda: decoder.scans > 10)
        fake.unplug()

    uvloop.run(start())


def test_silence_then_garbage_then_scans_are_each_told_and_then_all_is_well():
    async def noise(fake):
        while True:
            fake.write(bytes(range(1, 200)))
            await asyncio.sleep(0.02)

    async def listen():
        fake = FakeBoard()
        link, _ = linked(fake)
        async with running(link.run()):
            await until(lambda: "is open, but nothing arrives" in link.message)
            async with running(noise(fake)):
                await until(lambda: "no whole frame among them" in link.message)
            async with running(fake.run()):
                await until(lambda: not link.message)
        fake.unplug()

    uvloop.run(listen())


def test_a_board_that_was_pulled_out_is_told_as_gone():
    async def pull():
        fake = FakeBoard()
        link, _ = linked(fake)
        async with running(fake.run(), link.run()):
            await until(lambda: not link.message)
            port = fake.port
            fake.unplug()
            await until(lambda: port in link.message)
            assert "gone" in link.message or "no port" in link.message

    uvloop.run(pull())
