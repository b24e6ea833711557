"""Continuous text lines over a pseudo-terminal."""

import pytest
import uvloop

from daq.rig import TextTransmitter
from daq.sources import serial_port, text_link
from daq.sources.clock import SessionClock
from daq.sources.text_link import TextLink
from daq.transmitters import TransmitterDecoder
from daq.values import Samples
from daq.wire import board
from tests.sources.fake_board import FakeBoard
from tests.sources.text_lines import lines
from tests.sources.waiting import running, until

PATTERN = r"(ST|US),(?P<hands>[-+ ]*[\d.]+),(?P<saddle>[-+ ]*[\d.]+)(?P<unit>kg|lb)"


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(serial_port, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(text_link, "SILENT_S", 0.4)


def linked():
    device, said = FakeBoard(), []
    table = TextTransmitter(link="lines", port=device.port, pattern=PATTERN)
    decoder = TransmitterDecoder(table, "board")

    def take(received_us, data):
        for us, item in decoder.feed_pieces([(received_us, data)]):
            said.append((us, item))
            link.heard(item)

    link = TextLink(table, SessionClock(), take, lambda: decoder.problem)
    return device, said, link


def scans(said):
    return [item for _, item in said if isinstance(item, Samples)]


def test_lines_become_scans_after_a_hello_with_the_patterns_channels():
    async def read():
        device, said, link = linked()
        async with running(link.run(), lines(device, b"ST,+  12.50,+  43.00kg\r\n")):
            await until(lambda: len(scans(said)) > 3)
        device.unplug()
        return said, link

    said, link = uvloop.run(read())

    assert isinstance(said[0][1], board.HelloBody)
    assert [channel.name for channel in said[0][1].channels] == ["hands", "saddle"]
    assert scans(said)[0].counts.tolist() == [[122583, 421686]]
    assert link.message == ""


def test_silence_and_lines_of_another_make_are_told_with_what_came():
    async def read():
        device, said, link = linked()
        async with running(link.run()):
            await until(lambda: "is continuous sending on, at 9600 baud?" in link.message)
            async with running(lines(device, b"+0012.3 g\r\n")):
                await until(lambda: "no line of it can be used: line '+0012.3 g' does not fit" in link.message)
            async with running(lines(device, b"ST,1.0,2.0kg\r\n")):
                await until(lambda: not link.message)
        device.unplug()
        return said

    assert scans(uvloop.run(read()))


def test_a_pulled_cable_is_told():
    async def read():
        device, _, link = linked()
        async with running(link.run()):
            await until(lambda: not link.message)
            device.unplug()
            await until(lambda: device.port in link.message)
            assert "gone" in link.message or "no port" in link.message

    uvloop.run(read())
