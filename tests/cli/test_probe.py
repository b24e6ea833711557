"""The command on real pseudo-terminals, in a process of its own."""

import asyncio
import json
import re
import subprocess
import sys

import pytest
import serial
import uvloop
from click.testing import CliRunner

from daq.cli import main
from daq.sources.radio import SensorInRange
from daq.values import Status
from daq.wire import csc
from tests.sources.cable import Cable
from tests.sources.fake_bluez import FakeBluez
from tests.sources.fake_board import FakeBoard
from tests.sources.modbus_device import device
from tests.sources.waiting import running


def probe(*words, beside=()):
    """The command's exit code, output and errors, while these run."""

    async def ask():
        command = [sys.executable, "-m", "daq.cli", "probe", *map(str, words)]
        async with running(*beside):
            done = await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=60)
        return done.returncode, done.stdout, done.stderr

    return uvloop.run(ask())


@pytest.fixture
def fake():
    fake = FakeBoard()
    yield fake
    fake.unplug()


async def saying(fake, data=b"ST,GS,+00012.34kg\r\n"):
    while True:
        fake.write(data)
        await asyncio.sleep(0.05)


def test_a_board_is_named_with_rate_channels_and_noise(fake):
    fake.status = Status.CRANK_MARK

    code, out, _ = probe(fake.port, "--seconds", 1, beside=[fake.run()])

    assert code == 0
    assert re.search(r"crank mark seen \d+ times", out)
    assert "at 921600 baud: board 5173000000000002, wire protocol 1, firmware 'test board'" in out
    assert "hands" in out
    assert "0 dropped, 0 damaged" in out


def test_as_json_it_has_the_same(fake):
    code, out, _ = probe(fake.port, "--seconds", 1, "--json", beside=[fake.run()])

    found = json.loads(out)
    assert code == 0
    assert [channel["name"] for channel in found["channels"]] == ["hands", "saddle", "tilt"]
    assert found["rate_hz"] == pytest.approx(100.0, rel=0.2)


def test_lines_are_shown_with_a_pattern(fake):
    code, out, _ = probe(fake.port, "--seconds", 1, "--baud", 9600, beside=[saying(fake)])

    assert code == 0
    assert "for the rig file: pattern = '[A-Z]+,[A-Z]+,(?P<load>" in out


def test_lines_of_seven_data_bits_are_shown_with_what_the_rig_file_needs(fake):
    even = bytes(byte | 0x80 * (byte.bit_count() % 2) for byte in b"ST,GS,+00012.34kg\r\n")

    code, out, _ = probe(fake.port, "--seconds", 1, beside=[saying(fake, even)])

    assert code == 0
    assert 'data_bits = 7, parity = "even"' in out


def test_text_is_told_as_it_is_without_trying_other_bauds(fake):
    code, out, errors = probe(fake.port, "--seconds", 1, beside=[saying(fake, b"login:\r\n")])

    assert code == 1
    assert "lines of text without a number in them, such as 'login:'" in out
    assert errors.count("listening at") == 1


def test_garbage_is_tried_at_every_baud_and_told_with_its_first_bytes(fake):
    code, out, errors = probe(fake.port, "--seconds", 0.2, beside=[saying(fake, bytes(range(128, 256)))])

    assert code == 1
    assert "no text and no frames of ours; they begin 8" in out
    assert "They make no sense at any of 921600, 115200, 9600" in out
    assert errors.count("listening at") == 9


def test_a_port_another_program_holds_is_exit_code_3(fake):
    with serial.Serial(fake.port, exclusive=True):
        code, _, errors = probe(fake.port)

    assert code == 3
    assert f"{fake.port} is held by another program" in errors


def test_silence_is_told_at_once_without_trying_every_baud(fake):
    code, out, errors = probe(fake.port, "--seconds", 0.3)

    assert code == 1
    assert "nothing came: is it powered?" in out
    assert errors.count("listening at") == 1


def test_a_port_that_is_not_there_is_exit_code_3():
    code, _, errors = probe("/dev/ttyNOT")

    assert code == 3
    assert "no port /dev/ttyNOT" in errors


def test_a_modbus_unit_is_asked_and_every_number_it_could_mean_is_shown():
    from pymodbus.server import ModbusSerialServer

    async def ask():
        cable = Cable()
        server = ModbusSerialServer([device(1, 1250)], port=cable.there, baudrate=9600)
        words = [cable.here, "--modbus", "1", "--address", "100", "--baud", "9600"]
        command = [sys.executable, "-m", "daq.cli", "probe", *words]
        async with running(cable.run(), server.serve_forever()):
            done = await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=60)
            await server.shutdown()
        return done

    done = uvloop.run(ask())

    assert done.returncode == 0, done.stderr
    assert "unit 1 answers" in done.stdout
    assert "as int32    word order big     1250" in done.stdout


def test_a_modbus_unit_that_is_not_there_is_told(fake):
    code, out, _ = probe(fake.port, "--modbus", 5, "--baud", 9600)

    assert code == 1
    assert "unit 5 does not answer at 9600 baud" in out


def test_the_sensors_in_range_are_listed(bus):
    async def advertise():
        bluez = FakeBluez(bus.address)
        await bluez.start()
        services = {csc.SERVICE_UUID: {csc.MEASUREMENT_UUID: (["notify"],)}}
        bluez.add("AA:BB:CC:00:00:02", "cadence", services, rssi_dbm=-50)
        try:
            await asyncio.Event().wait()
        finally:
            await bluez.stop()

    code, out, errors = probe("bluetooth", "--seconds", 1, beside=[advertise()])

    assert code == 0, errors
    assert out.strip() == str(SensorInRange("AA:BB:CC:00:00:02", "cadence", -50, ("speed and cadence",)))


def test_without_bluetooth_it_says_why(tmp_path, monkeypatch):
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/no-bus")

    code, _, errors = probe("bluetooth", "--seconds", 1)

    assert code == 3
    assert "no system message bus, so no Bluetooth" in errors


def test_it_is_listed_with_the_commands():
    assert "probe" in CliRunner().invoke(main, ["--help"]).output
