"""Every kind of link in a rig file, through session and store: what it sends is stored and becomes newtons."""

import asyncio
import json

import pytest
import uvloop
from pymodbus.server import ModbusSerialServer

from daq.items import Event, Hello, Notification
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import links_of
from daq.live.real import begin, read_rig
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.telling.view import sources
from daq.measure.calibration import CalibratedChannel, Calibration, to_dict
from daq.refusals import NotNow
from daq.rig_file import RigError
from daq.sources.clock import SessionClock
from daq.values import Loads, Samples
from daq.wire import cycling_power_control
from tests.live.transmitters import LINES, MODBUS
from tests.rigs import rig_text
from tests.sources.cable import Cable
from tests.sources.conftest import bus as private_bus
from tests.sources.fake_bluez import FakeBluez
from tests.sources.fake_board import FakeBoard
from tests.sources.modbus_device import device
from tests.sources.power_meter import CRANK, power_services
from tests.sources.text_lines import lines
from tests.sources.waiting import until

bus = private_bus


def ridden(folder, table, inside, *, beside=()):
    """Run the daemon's parts for a rig with this table while `inside` acts; the session and its outputs."""
    (folder / "rig.toml").write_text(rig_text(table, ("hands", "saddle")))
    outputs = []

    async def ride():
        text, rig, calibration = read_rig(folder / "rig.toml")
        clock = SessionClock()
        store = Store.open(folder / "store.sqlite")
        storing = begin(store, rig_text=text, calibration=calibration, simulated=False, clock=clock)
        session = Session(rig, calibration, clock, Rider("R-0001", 75.0), storing=storing, on_output=outputs.append)
        parts = [*(lambda part=part: part for part in beside), *links_of(session)]
        await asyncio.wait_for(serve(session, parts, until=inside(session)), 60)
        return session

    return uvloop.run(ride()), [output for output in outputs if isinstance(output, Loads)]


def stored(folder, kind):
    with Store.open(folder / "store.sqlite", write=False) as store:
        return [item for item in store.read_items(1) if isinstance(item, kind)]


async def some_scans(session):
    await until(lambda: session.acquisition.sensors.health["board"].rate_hz(session.acquisition.clock.now_us()) > 3)
    await asyncio.sleep(0.3)
    session.acquisition.drain()
    assert session.acquisition.troubles()["transmitter"] == ""


def test_a_text_transmitters_lines_are_stored_and_become_newtons_by_name(tmp_path):
    device = FakeBoard()

    _, loads = ridden(tmp_path, LINES.format(port=device.port), some_scans, beside=[lines(device, b"43.00;12.50\r\n")])

    device.unplug()
    assert loads[-1].hands_n[-1] == pytest.approx(12.5 * 9.80665, abs=0.001)
    assert loads[-1].saddle_n[-1] == pytest.approx(43.0 * 9.80665, abs=0.001)
    assert sum(map(len, stored(tmp_path, Samples))) == sum(map(len, loads))
    assert [c["name"] for c in stored(tmp_path, Hello)[0].content["channels"]] == ["saddle", "hands"]


def test_two_modbus_transmitters_are_stored_and_become_newtons(tmp_path):
    made = {}

    async def serving():
        made["server"] = ModbusSerialServer([device(1, 1250), device(2, 43)], port=cable.there, baudrate=19200)
        await made["server"].serve_forever()

    async def look(session):
        await some_scans(session)
        await made["server"].shutdown()

    cable = Cable()
    _, loads = ridden(tmp_path, MODBUS.format(port=cable.here), look, beside=[cable.run(), serving()])

    assert loads[-1].hands_n[-1] == pytest.approx(12.5 * 9.80665, abs=0.001)
    assert loads[-1].saddle_n[-1] == pytest.approx(43.0 * 9.80665, abs=0.001)
    assert sum(map(len, stored(tmp_path, Samples))) == sum(map(len, loads))


def test_lines_that_fit_no_pattern_are_counted_and_told_with_the_transmitter(tmp_path):
    device = FakeBoard()

    async def look(session):
        await until(lambda: "no line of it can be used" in session.acquisition.troubles()["transmitter"])
        (report,) = [source for source in sources(session) if source["name"] == "transmitter"]
        assert report["damaged"] > 0

    ridden(tmp_path, LINES.format(port=device.port), look, beside=[lines(device, b"error 7\r\n")])
    device.unplug()


def test_a_transmitter_that_lacks_a_channel_of_the_rig_is_refused_before_anything_is_opened(tmp_path):
    (tmp_path / "rig.toml").write_text(rig_text(LINES.format(port="x").replace("saddle", "seat"), ("hands", "saddle")))

    with pytest.raises(RigError, match="gives seat, hands; expected also saddle"):
        read_rig(tmp_path / "rig.toml")


def test_a_power_sensors_feature_is_stored_its_battery_told_and_its_zero_kept(tmp_path, bus):
    board = FakeBoard()
    channels = tuple(CalibratedChannel(name, "force", (0.0, 0.01)) for name in ("hands", "saddle"))
    calibration = Calibration("test", "2026-01-01T00:00:00+00:00", channels)
    (tmp_path / "calibration.json").write_text(json.dumps(to_dict(calibration)))
    table = f'calibration = "calibration.json"\n[board]\nport = "{board.port}"\n[power]\nname = "crank"\n'

    async def sensor():
        bluez = FakeBluez(bus.address)
        await bluez.start()
        bluez.add(CRANK, "crank", power_services(level=12))
        try:
            await asyncio.Event().wait()
        finally:
            await bluez.stop()

    async def look(session):
        await until(lambda: not session.acquisition.sensors.links["power"]())
        assert await session.zero.compensate_power() == "zero set, offset 10 N m"

    session, _ = ridden(tmp_path, table, look, beside=[sensor()])

    board.unplug()
    kept = {item.characteristic: item.payload for item in stored(tmp_path, Notification)}
    assert kept[cycling_power_control.FEATURE_UUID] == bytes.fromhex("08020100")
    assert [e.content["said"] for e in stored(tmp_path, Event) if e.kind == "power-zero"] == ["zero set, offset 10 N m"]
    assert any("battery at 12 %" in note.text for note in session.acquisition.notices)


def test_without_a_power_sensor_there_is_no_zero_to_set(tmp_path):
    device = FakeBoard()

    async def look(session):
        with pytest.raises(NotNow, match="no power sensor is linked"):
            await session.zero.compensate_power()

    ridden(tmp_path, LINES.format(port=device.port), look)
    device.unplug()
