"""Sensors through the real bleak against a Bluetooth service of our own on a private message bus."""

import asyncio
import contextlib

import pytest
import uvloop

from daq.rig import BleSensor
from daq.sources import ble
from daq.sources.ble import BleLink
from daq.sources.clock import SessionClock
from daq.sources.radio import BluetoothTrouble, Radio
from daq.wire import battery, csc, cycling_power, cycling_power_control, heart_rate
from tests.sources.fake_bluez import FakeBluez
from tests.sources.power_meter import CRANK, MEASUREMENT, NOTIFIES, power_services
from tests.sources.waiting import running, until


class Bench:
    """A link on the private bus, with what it said."""

    def __init__(self, bus, kind="power", **sensor):
        self.bluez = FakeBluez(bus.address)
        self.values, self.notes = [], []
        self.link = BleLink(
            BleSensor(**(sensor or {"name": "crank"})),
            kind,
            Radio(),
            SessionClock(),
            lambda us, uuid, payload: self.values.append((us, uuid, payload)),
            lambda level, text: self.notes.append((level, text)),
        )

    def sent(self, uuid=MEASUREMENT):
        return [payload for _, of, payload in self.values if of == uuid]

    def listening(self, name="crank", uuid=MEASUREMENT):
        return self.bluez.devices[name].characteristics[uuid].notifying


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(ble, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(ble, "SCAN_S", 0.5)


@contextlib.asynccontextmanager
async def linked(bus, services=None, **options):
    """A bench whose link is connected and listening."""
    bench = Bench(bus, **options)
    await bench.bluez.start()
    bench.bluez.add(CRANK, "crank", services or power_services())
    async with running(bench.link.run()):
        await until(lambda: not bench.link.message)
        yield bench
    await bench.bluez.stop()


def measurement(i):
    return cycling_power.encode_power(cycling_power.PowerMeasurement(200 + i, crank_revs=i, crank_time_1024=683 * i))


def test_notifications_at_4_hz_arrive_whole_in_order_and_stamped(bus):
    async def ride():
        async with linked(bus) as bench:
            for i in range(8):
                assert bench.bluez.devices["crank"].notify(MEASUREMENT, measurement(i))
                await asyncio.sleep(0.25)
            await until(lambda: len(bench.sent()) == 8)
        return bench

    bench = uvloop.run(ride())

    assert bench.sent() == [measurement(i) for i in range(8)]
    stamps = [us for us, uuid, _ in bench.values if uuid == MEASUREMENT]
    assert stamps == sorted(set(stamps))


def test_what_the_sensor_can_do_and_its_battery_are_read_and_handed_on(bus):
    async def look():
        async with linked(bus) as bench:
            return bench

    bench = uvloop.run(look())

    assert bench.sent(cycling_power_control.FEATURE_UUID) == [bytes.fromhex("08020100")]
    assert bench.sent(battery.LEVEL_UUID) == [bytes([80])]
    assert bench.notes == []


def test_a_sensor_is_found_by_address_in_either_case(bus):
    async def look():
        async with linked(bus, address=CRANK.lower()) as bench:
            assert bench.listening()

    uvloop.run(look())


def test_after_a_lost_link_it_is_connected_again_and_the_notifications_start_again(bus):
    async def lose():
        async with linked(bus) as bench:
            device = bench.bluez.devices["crank"]
            device.notify(MEASUREMENT, measurement(1))
            await until(lambda: len(bench.sent()) == 1)
            device.lose()
            await until(lambda: bench.link.message)
            await until(lambda: not bench.link.message and bench.listening())
            device.notify(MEASUREMENT, measurement(2))
            await until(lambda: len(bench.sent()) == 2)
            assert device.connects == 2
            assert device.characteristics[MEASUREMENT].starts == 2

    uvloop.run(lose())


def test_out_of_range_names_what_is_in_range_with_its_strength_and_comes_back(bus):
    async def leave():
        async with linked(bus) as bench:
            device = bench.bluez.devices["crank"]
            bench.bluez.add("AA:BB:CC:00:00:02", "other crank", power_services(), rssi_dbm=-71)
            device.in_range = False
            device.lose()
            await until(lambda: "not found" in bench.link.message)
            assert "power sensor crank not found: turn the cranks to wake it" in bench.link.message
            assert "in range: other crank (AA:BB:CC:00:00:02, -71 dBm, power)" in bench.link.message
            device.in_range = True
            await until(lambda: not bench.link.message and bench.listening())

    uvloop.run(leave())


def test_a_link_that_breaks_while_connecting_is_tried_again(bus):
    async def refuse():
        async with linked(bus) as bench:
            device = bench.bluez.devices["crank"]
            device.refuses = "le-connection-abort-by-peer"
            device.lose()
            await until(lambda: "le-connection-abort-by-peer" in bench.link.message)
            device.refuses = ""
            await until(lambda: not bench.link.message)

    uvloop.run(refuse())


def test_an_adapter_switched_off_in_mid_ride_is_told_and_the_link_comes_back_with_it(bus):
    async def switch():
        async with linked(bus) as bench:
            bench.bluez.switch(False)
            await until(lambda: bench.link.message.startswith("the Bluetooth adapter is switched off: switch it on"))
            bench.bluez.switch(True)
            await until(lambda: not bench.link.message and bench.listening())

    uvloop.run(switch())


def test_a_message_bus_that_dies_is_told_and_the_link_comes_back_with_it(bus):
    async def kill():
        async with linked(bus) as bench:
            bus.stop()
            await until(lambda: bench.link.message.startswith("no system message bus, so no Bluetooth"))
            bus.start()
            again = FakeBluez(bus.address)
            await again.start()
            device = again.add(CRANK, "crank", power_services())
            await until(lambda: not bench.link.message)
            await until(lambda: device.notify(MEASUREMENT, measurement(3)))
            await until(lambda: bench.sent() == [measurement(3)])
        await again.stop()

    uvloop.run(kill())


@pytest.mark.parametrize(
    ("prepare", "says"),
    [
        ("no adapter", "this computer has no Bluetooth adapter: plug one in"),
        ("too old", "adapter is too old for LE sensors"),
        ("off", "the Bluetooth adapter is switched off"),
        ("no service", "the Bluetooth service is not running: start it (systemctl start bluetooth)"),
        ("no bus", "no system message bus, so no Bluetooth: install and start dbus and bluez"),
    ],
)
def test_each_way_in_which_bluetooth_fails_to_start_has_its_own_words(bus, prepare, says):
    async def begin():
        bench = Bench(bus)
        bench.bluez.adapter.powered = prepare != "off"
        if prepare == "too old":
            bench.bluez.adapter.roles = ["peripheral"]
        if prepare == "no bus":
            bus.stop()
        elif prepare != "no service":
            await bench.bluez.start(with_adapter=prepare != "no adapter")
        async with running(bench.link.run()):
            await until(lambda: says in bench.link.message)
        await bench.bluez.stop()

    uvloop.run(begin())


def test_a_service_that_crashed_without_a_word_is_noticed_by_asking(bus, monkeypatch):
    monkeypatch.setattr(ble, "SILENT_S", 0.3)

    async def crash():
        async with linked(bus) as bench:
            await bench.bluez.stop()
            await until(lambda: "the Bluetooth service is not running" in bench.link.message)

    uvloop.run(crash())


def test_a_sensor_that_is_only_quiet_stays_connected(bus, monkeypatch):
    monkeypatch.setattr(ble, "SILENT_S", 0.1)

    async def rest():
        async with linked(bus) as bench:
            await asyncio.sleep(0.6)
            assert bench.bluez.devices["crank"].connects == 1
            assert bench.link.message == ""

    uvloop.run(rest())


def test_a_low_battery_is_told_once_and_again_after_it_was_changed(bus):
    async def drain():
        async with linked(bus, power_services(level=21)) as bench:
            device = bench.bluez.devices["crank"]
            for level in (20, 19, 95, 12):
                device.notify(battery.LEVEL_UUID, bytes([level]))
                await until(lambda level=level: bench.sent(battery.LEVEL_UUID)[-1] == bytes([level]))
            return bench.notes

    notes = uvloop.run(drain())

    assert notes == [
        ("caution", "power sensor: battery at 20 %, change it before the next sweep"),
        ("caution", "power sensor: battery at 12 %, change it before the next sweep"),
    ]


def test_the_sensor_sets_its_zero_on_request_and_says_the_offset(bus):
    async def ask():
        async with linked(bus) as bench:
            said = await bench.link.compensate_offset()
            assert bench.listening()
            return said

    assert uvloop.run(ask()) == "zero set, offset 10 N m"


@pytest.mark.parametrize(
    ("services", "says"),
    [
        (power_services(feature=0x00008), "it cannot set its zero on request"),
        (power_services(answer=lambda request: bytes([0x20, request[0], 4])), r"\(failed\): is the crank still"),
    ],
)
def test_a_zero_that_cannot_be_set_is_told(bus, services, says):
    async def ask():
        async with linked(bus, services) as bench:
            with pytest.raises(BluetoothTrouble, match=says):
                await bench.link.compensate_offset()

    uvloop.run(ask())


def test_a_zero_is_not_waited_for_for_ever(bus, monkeypatch):
    monkeypatch.setattr(ble, "ANSWER_S", 0.2)

    async def ask():
        async with linked(bus, power_services(answer=None)) as bench:
            with pytest.raises(BluetoothTrouble, match="gave no answer in time"):
                await bench.link.compensate_offset()

    uvloop.run(ask())


def test_a_sensor_of_another_kind_is_not_taken(bus):
    async def look():
        bench = Bench(bus)
        await bench.bluez.start()
        bench.bluez.add(CRANK, "crank", {heart_rate.SERVICE_UUID: {heart_rate.MEASUREMENT_UUID: (NOTIFIES,)}})
        async with running(bench.link.run()):
            await until(lambda: "crank does not send a power measurement" in bench.link.message)
        await bench.bluez.stop()

    uvloop.run(look())


def test_two_links_take_turns_with_the_one_adapter(bus):
    async def both():
        bench = Bench(bus)
        await bench.bluez.start()
        radio, links = Radio(), []
        for i, kind in enumerate(("power", "heart")):
            of = heart_rate if kind == "heart" else cycling_power
            bench.bluez.add(f"AA:BB:CC:00:00:0{i}", kind, {of.SERVICE_UUID: {of.MEASUREMENT_UUID: (NOTIFIES,)}})
            links.append(BleLink(BleSensor(name=kind), kind, radio, SessionClock(), lambda *_: None))
        async with running(*(link.run() for link in links)):
            await until(lambda: not any(link.message for link in links))
        await bench.bluez.stop()
        return bench.bluez.adapter.refused_scans

    assert uvloop.run(both()) == 0


def test_a_scan_lists_sensors_by_strength_with_what_they_are(bus):
    async def scan():
        bluez = FakeBluez(bus.address)
        await bluez.start()
        bluez.add("AA:BB:CC:00:00:01", "far", power_services(), rssi_dbm=-90)
        bluez.add("AA:BB:CC:00:00:02", "near", {csc.SERVICE_UUID: {csc.MEASUREMENT_UUID: (NOTIFIES,)}}, rssi_dbm=-50)
        seen = await Radio().scan(0.3)
        await bluez.stop()
        return seen

    assert [str(sensor) for sensor in uvloop.run(scan())] == [
        "near (AA:BB:CC:00:00:02, -50 dBm, speed and cadence)",
        "far (AA:BB:CC:00:00:01, -90 dBm, power)",
    ]
