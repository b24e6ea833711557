"""Modbus against pymodbus' own server, over two pseudo-terminals joined as a cable.

A pseudo-terminal has no parity, so it is off here.
"""

import asyncio
import contextlib

import pytest
import uvloop
from pymodbus.client import AsyncModbusSerialClient
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from daq.rig import LoadRegister, ModbusTransmitter
from daq.sources import serial_port
from daq.sources.clock import SessionClock
from daq.sources.modbus_link import ModbusLink
from daq.transmitters import TransmitterDecoder, registers_of
from daq.values import Samples, Status
from daq.wire import board
from tests.sources.cable import Cable
from tests.sources.modbus_device import device
from tests.sources.waiting import running, until

HANDS = {"name": "hands", "unit_number": 1, "address": 40101, "scale": 0.01}
SADDLE = {"name": "saddle", "unit_number": 2, "address": 40101, "scale": 0.01}


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(serial_port, "BACK_OFF_S", (0.05,))


@contextlib.asynccontextmanager
async def polling(devices, registers, **table):
    """A link that polls a server with these devices; gives link, what its polls say, and the cable.

    `link.lost` is what their decoder counts.
    """
    cable = Cable()
    server = ModbusSerialServer(devices, port=cable.there, baudrate=19200, ignore_missing_devices=True)
    said = []
    entries = tuple(LoadRegister(**entry) for entry in registers)
    settings = {"poll_hz": 50.0, "timeout_s": 0.1, "address_base": 40_001, "parity": "none", **table}
    wanted = ModbusTransmitter(link="modbus", port=cable.here, registers=entries, **settings)
    decoder = TransmitterDecoder(wanted, "board")
    link = ModbusLink(
        wanted, registers_of(wanted), SessionClock(), lambda us, poll: said.extend(decoder.feed_pieces([(us, poll)]))
    )
    link.lost = lambda: decoder.lost
    async with running(cable.run(), server.serve_forever(), link.run()):
        yield link, said, cable
        await server.shutdown()


def scans(said):
    return [item for _, item in said if isinstance(item, Samples)]


def test_loads_of_two_devices_on_one_line_become_one_scan_in_millinewtons():
    async def poll():
        async with polling([device(1, 1250), device(2, 4300)], [HANDS, SADDLE]) as (link, said, _):
            await until(lambda: len(scans(said)) >= 5)
        return link, said

    link, said = uvloop.run(poll())

    assert isinstance(said[0][1], board.HelloBody)
    assert [channel.name for channel in said[0][1].channels] == ["hands", "saddle"]
    # 12.50 kg and 43.00 kg at 9.80665 m/s2, in mN
    assert scans(said)[-1].counts.tolist() == [[122583, 421686]]
    assert link.message == ""
    times = [int(scan.received_us[0]) for scan in scans(said)]
    assert times == sorted(set(times))


@pytest.mark.parametrize(
    ("datatype", "value", "register", "newtons"),
    [
        (DataType.FLOAT32, 12.5, {"kind": "float32", "unit": "N", "scale": 1.0}, 12.5),
        (DataType.INT16, -7, {"kind": "int16", "unit": "N", "scale": 1.0}, -7.0),
        (DataType.REGISTERS, [0xE240, 0x0001], {"word_order": "little", "unit": "N", "scale": 0.01}, 1234.56),
    ],
)
def test_each_way_of_writing_a_number_comes_out_in_newtons(datatype, value, register, newtons):
    async def poll():
        entry = {**HANDS, **register}
        async with polling([device(1, value, datatype)], [entry]) as (_, said, _):
            await until(lambda: scans(said))
        return scans(said)[0]

    assert uvloop.run(poll()).counts[0, 0] == pytest.approx(newtons * 1000)


def test_input_registers_are_read_by_function_4():
    blocks = tuple(
        [SimData(100, values=1 if i < 2 else i, datatype=kind)]
        for i, kind in enumerate([DataType.BITS, DataType.BITS, DataType.INT32, DataType.INT32])
    )

    async def poll():
        async with polling([SimDevice(id=1, simdata=blocks)], [{**HANDS, "unit": "N"}], function=4) as (_, said, _):
            await until(lambda: scans(said))
        return scans(said)[0]

    assert uvloop.run(poll()).counts[0, 0] == 30


def test_a_unit_that_does_not_answer_is_told_with_what_to_look_at():
    async def poll():
        async with polling([device(1, 1250)], [HANDS]) as (link, said, cable):
            cable.dead = True
            says = "unit 1 does not answer: unit number, baud (19200), parity (none), or the two wires"
            await until(lambda: link.message.startswith(says))
            assert link.lost()[1] >= 3
        return said

    assert not scans(uvloop.run(poll()))


def test_a_wrong_address_is_told_as_the_device_refuses_it():
    async def poll():
        async with polling([device(1, 1250)], [{**HANDS, "address": 40201}]) as (link, said, _):
            await until(lambda: link.message.startswith("unit 1, register 40201: has no register there: is the addr"))
        return said

    assert not scans(uvloop.run(poll()))


def test_a_device_that_stops_gives_its_last_load_marked_and_is_named_and_comes_back():
    """On a busy machine a device that is whole may also answer one poll too late, and that scan is marked like any
    other without an answer."""
    broken = []

    async def fail(*_):
        return ExcCodes.DEVICE_FAILURE if broken else None

    async def poll():
        devices = [device(1, 1250), device(2, 4300, action=fail)]
        async with polling(devices, [HANDS, SADDLE]) as (link, said, _):
            await until(lambda: scans(said) and not scans(said)[-1].status[0])
            broken.append(True)
            await until(lambda: link.message == "unit 2, register 40101: reports a failure of its own")
            marked = scans(said)[-1]
            broken.clear()
            await until(lambda: not link.message and not scans(said)[-1].status[0])
        return marked, scans(said)[-1]

    marked, mended = uvloop.run(poll())

    assert marked.counts.tolist() == mended.counts.tolist()
    assert (marked.status[0], mended.status[0]) == (Status.ADC_ERROR, 0)


def test_a_garbled_answer_costs_one_scan_and_no_wrong_load_comes_of_it():
    async def poll():
        async with polling([device(1, 1250)], [HANDS]) as (link, said, cable):
            await until(lambda: scans(said))
            cable.garble = True
            await until(lambda: link.lost()[1] >= 3)
            cable.garble = False
            await until(lambda: not link.message)
        return said

    assert {int(scan.counts[0, 0]) for scan in scans(uvloop.run(poll()))} == {122583}


def test_a_pulled_cable_is_told():
    async def poll():
        async with polling([device(1, 1250)], [HANDS]) as (link, said, cable):
            await until(lambda: len(scans(said)) > 3)
            port = cable.here
            cable.cut()
            await until(lambda: port in link.message)
        return link.message

    message = uvloop.run(poll())

    assert "gone" in message or "no port" in message


def test_polls_that_have_no_time_are_counted_as_dropped():
    async def slow(*_):
        await asyncio.sleep(0.05)

    async def poll():
        async with polling([device(1, 1250, action=slow)], [HANDS], poll_hz=100.0) as (link, said, _):
            await until(lambda: len(scans(said)) > 5)
        return link, [int(scan.sequence[0]) for scan in scans(said)]

    link, numbers = uvloop.run(poll())

    assert link.lost()[0] > 5
    assert numbers[-1] - numbers[0] > len(numbers)


def test_a_link_ends_when_its_end_comes_together_with_an_answer(monkeypatch):
    """As asyncio.wait_for has it up to Python 3.11: the answer is given, the cancellation is lost."""
    read = AsyncModbusSerialClient.read_holding_registers

    async def deaf(self, *arguments, **options):
        answer = await read(self, *arguments, **options)
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.sleep(0.2)
        return answer

    monkeypatch.setattr(AsyncModbusSerialClient, "read_holding_registers", deaf)

    async def poll():
        cable = Cable()
        server = ModbusSerialServer([device(1, 1250)], port=cable.there, baudrate=19200)
        wanted = ModbusTransmitter(link="modbus", port=cable.here, parity="none", registers=(LoadRegister(**HANDS),))
        polls = []
        link = ModbusLink(wanted, registers_of(wanted), SessionClock(), lambda *poll: polls.append(poll))
        async with running(cable.run(), server.serve_forever()):
            task = asyncio.create_task(link.run())
            await until(lambda: len(polls) >= 2)
            task.cancel()
            done, _ = await asyncio.wait({task}, timeout=60.0)
            await server.shutdown()
        return done

    assert uvloop.run(poll())
