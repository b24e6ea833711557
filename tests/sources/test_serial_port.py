"""Ports over real pseudo-terminals: found, refused, gone, found again."""

import asyncio
import errno
import os
import time

import pytest
import serial
import uvloop
from serial.tools import list_ports

from daq.rig import SerialBoard
from daq.sources import ports, serial_port
from daq.sources.clock import SessionClock
from daq.sources.serial_port import (
    NoPermission,
    NoPort,
    PortBusy,
    PortGone,
    PortTrouble,
    SerialLink,
    find_port,
    open_port,
)
from tests.sources.fake_board import FakeBoard, usb_port
from tests.sources.waiting import running, until


@pytest.fixture
def plugged_in(monkeypatch):
    """The ports pyserial lists; change them by their list."""
    listed = []
    monkeypatch.setattr(list_ports, "comports", lambda: list(listed))
    return listed


def test_a_board_is_found_by_its_usb_serial_number_wherever_it_is_plugged_in(plugged_in):
    plugged_in += [usb_port("/dev/ttyACM0", serial_number="other"), usb_port("/dev/ttyACM3")]

    assert find_port(SerialBoard(usb_serial="FJ-0001")) == "/dev/ttyACM3"


def test_a_board_is_found_by_vendor_and_product_in_either_case(plugged_in):
    plugged_in += [usb_port("/dev/ttyUSB0", vid=0x10C4, pid=0xEA60), usb_port("/dev/ttyACM1")]

    assert find_port(SerialBoard(usb_id="10C4:ea60")) == "/dev/ttyUSB0"


def test_a_missing_board_is_named_beside_what_is_plugged_in_instead(plugged_in):
    plugged_in += [usb_port("/dev/ttyACM0", serial_number="other")]

    with pytest.raises(NoPort, match=r"no device FJ-0001 is plugged in; ports here: /dev/ttyACM0 \(test board\)"):
        find_port(SerialBoard(usb_serial="FJ-0001"))


def test_two_boards_that_both_fit_are_not_guessed_between(plugged_in):
    plugged_in += [usb_port("/dev/ttyACM0", serial_number="A"), usb_port("/dev/ttyACM1", serial_number="B")]

    with pytest.raises(NoPort, match=r"more than one device 16c0:0483 .*usb_serial A, .*usb_serial B.*: name one by"):
        find_port(SerialBoard(usb_id="16c0:0483"))


def test_a_port_of_another_program_is_named_as_busy():
    board = FakeBoard()
    with serial.Serial(board.port, exclusive=True), pytest.raises(PortBusy, match="held by another program"):
        open_port(board.port, 115200)

    open_port(board.port, 115200).close()
    board.unplug()


@pytest.mark.parametrize(
    ("number", "kind", "says"),
    [
        (errno.EACCES, NoPermission, "add this user to its group"),
        (errno.EBUSY, PortBusy, "held by another program"),
        (errno.ENXIO, NoPort, "no port /dev/ttyACM0"),
        (errno.EIO, PortTrouble, "cannot be opened"),
    ],
)
def test_each_reason_the_system_gives_has_its_own_sentence(monkeypatch, number, kind, says):
    def refuse(*_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(serial.serialposix.os, "open", refuse)

    with pytest.raises(kind, match=says):
        open_port("/dev/ttyACM0", 921_600)


def test_a_file_that_is_no_port_is_refused(tmp_path):
    path = tmp_path / "port"
    path.touch()

    with pytest.raises(PortTrouble, match=f"{tmp_path} is not a serial port; "):
        open_port(str(tmp_path), 921_600)
    with pytest.raises(PortTrouble, match=f"{path} is not a serial port; "):
        open_port(str(path), 921_600)


def test_what_a_device_writes_arrives_in_order_with_rising_receipt_times():
    got = []

    async def read():
        board = FakeBoard()
        link = SerialLink(SerialBoard(port=board.port), SessionClock(), lambda us, data: got.append((us, data)))
        async with running(link.run()):
            await until(lambda: not link.message)
            for i in range(200):
                board.write(b"%04d" % i)
                await asyncio.sleep(0)
            await until(lambda: sum(len(data) for _, data in got) == 800)
        board.unplug()

    uvloop.run(read())
    assert b"".join(data for _, data in got) == b"".join(b"%04d" % i for i in range(200))
    times = [us for us, _ in got]
    assert times == sorted(set(times))


def test_what_waited_before_the_port_was_opened_is_not_passed_on():
    """Nobody knows when it came. pyserial discards it on opening; five seconds of the reference board's scans."""
    got = []

    async def read():
        board = FakeBoard()
        for _ in range(5 * 80):
            board.write(b"old" * 9)
        link = SerialLink(SerialBoard(port=board.port), SessionClock(), lambda _, data: got.append(data))
        async with running(link.run()):
            await until(lambda: not link.message)
            board.write(b"new")
            await until(lambda: b"".join(got).endswith(b"new"))
        board.unplug()

    uvloop.run(read())
    assert b"".join(got) == b"new"


@pytest.fixture
def watched():
    """Runs a job with a board and what has been read of it, its port watched with long rests."""

    async def inside(job):
        board, got = FakeBoard(), []
        port = open_port(board.port, 115_200)
        end = ports.watch(port, got.append, got.append, rests_s=(0.05, 0.1))
        try:
            await job(board, got, end)
        finally:
            end()
            board.unplug()

    return lambda job: uvloop.run(inside(job))


def test_a_board_that_sends_all_the_time_is_read_once_a_rest(watched):
    async def job(board, got, _end):
        begun_s = time.monotonic()
        for i in range(150):
            board.write(b"%04d" % i)
            await asyncio.sleep(0.002)
        await until(lambda: sum(map(len, got)) == 600)

        assert b"".join(got) == b"".join(b"%04d" % i for i in range(150))
        assert len(got) <= (time.monotonic() - begun_s) / 0.1 + 2

    watched(job)


def test_a_port_rests_in_session_time(monkeypatch):
    """A simulated board at a hundred times the pace sends a hundred times as often."""
    rests = []
    monkeypatch.setattr(ports, "watch", lambda *_, rests_s: rests.append(rests_s) or (lambda: None))

    async def opened():
        board = FakeBoard()
        link = SerialLink(SerialBoard(port=board.port), SessionClock(pace=100.0), lambda *_: None)
        async with running(link.run()):
            await until(lambda: rests)
        board.unplug()

    uvloop.run(opened())
    assert rests[0] == pytest.approx([0.01 * s for s in ports.RESTS_S])


def test_after_a_pause_a_port_is_read_at_once_and_rests_briefly_again(watched):
    """A slow board's frame comes in two pieces: the second waits for the first rest, not for the longest."""

    async def job(board, got, _end):
        read_s = []
        for frame in range(3):
            for piece in (b"%da" % frame, b"%db" % frame):
                board.write(piece)
                begun_s = time.monotonic()
                await until(lambda piece=piece: got[-1:] == [piece])
                read_s.append(time.monotonic() - begun_s)
            await asyncio.sleep(0.25)

        assert got == [b"0a", b"0b", b"1a", b"1b", b"2a", b"2b"]
        assert min(read_s[2::2]) < 0.05
        assert min(read_s[3::2]) < 0.09

    watched(job)


def test_nothing_is_passed_on_once_watching_has_ended_not_even_after_a_rest(watched):
    async def job(board, got, end):
        board.write(b"one")
        await until(lambda: got == [b"one"])
        board.write(b"two")
        end()
        await asyncio.sleep(0.12)

        assert got == [b"one"]

    watched(job)


def test_a_device_replugged_on_another_path_is_taken_up_by_itself(plugged_in, monkeypatch):
    monkeypatch.setattr(serial_port, "BACK_OFF_S", (0.05,))
    got = []

    async def replug():
        board = FakeBoard()
        first = board.port
        plugged_in.append(usb_port(first))
        link = SerialLink(SerialBoard(usb_serial="FJ-0001"), SessionClock(), lambda _, data: got.append(data))
        async with running(link.run()):
            await until(lambda: not link.message)
            second = FakeBoard()
            board.unplug()
            plugged_in.clear()
            await until(lambda: "no device FJ-0001 is plugged in" in link.message)
            plugged_in.append(usb_port(second.port))
            await until(lambda: not link.message)
            second.write(b"again")
            await until(lambda: got)
        assert second.port != first
        second.unplug()

    uvloop.run(replug())
    assert got == [b"again"]


def test_a_command_to_nobody_is_refused():
    link = SerialLink(SerialBoard(port="/dev/ttyNOT"), SessionClock(), lambda *_: None)

    with pytest.raises(PortGone, match="no device is connected"):
        link.send(b"x")


def fill_up(link):
    for _ in range(1000):
        link.send(b"x" * 1000)


def test_a_device_that_does_not_read_does_not_hold_the_daemon_up():
    async def fill():
        board = FakeBoard()
        link = SerialLink(SerialBoard(port=board.port), SessionClock(), lambda *_: None)
        async with running(link.run()):
            await until(lambda: not link.message)
            with pytest.raises(PortGone, match="does not take commands"):
                fill_up(link)
        board.unplug()

    uvloop.run(fill())
