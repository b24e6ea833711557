"""Each fault of a link: what a person at the jig is told and shown, and what is stored.

Nothing acknowledged is ever lost, and nothing is stored that the board did not say.

| fault | told and shown | stored |
|---|---|---|
| unplug, replug on another path | gone, stale; then all well, live | every scan of before and after |
| silence | stopped sending, stale; then all well | every scan of before and after |
| garbage | no whole frame, where to look; damaged counted | every scan of before and after |
| half frames | damaged and dropped in the sensor's line | every whole scan |
| saturated cell | which cell, and why | scans with their status |
| stuck cell | which cell, and why | scans as they came |
| plugs swapped | suspected | scans as they came |
| board names its channels in another order | nothing | loads by name |
| board restarts | restarted | both lives, nothing counted as dropped |
| stalls of 200 ms | late counted | every scan |
| Bluetooth away for a minute | not found; then all well | every scan; notifications before and after |
"""

import asyncio

import numpy as np
import pytest
import uvloop
from serial.tools import list_ports

from daq.measure import cell_checks
from daq.sources import ble, board_talk, serial_port
from daq.values import Loads, Status, Stroke
from daq.wire import battery, cycling_power
from tests.faults.links import kept, ride
from tests.sources.fake_bluez import FakeBluez
from tests.sources.fake_board import FakeBoard, hello, noise_of, usb_port
from tests.sources.waiting import running, until

ACKNOWLEDGED = ["begin", "saddle_moved", "before the fault", "after the fault", "stop"]


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(serial_port, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(board_talk, "SILENT_S", 0.4)
    monkeypatch.setattr(cell_checks, "STUCK_S", 2)
    monkeypatch.setattr(cell_checks, "SWAPPED_S", 2)
    monkeypatch.setattr(ble, "BACK_OFF_S", (0.05,))
    monkeypatch.setattr(ble, "SCAN_S", 0.3)


@pytest.fixture
def board(monkeypatch):
    """A board that pyserial lists by its USB serial number as long as it is plugged in."""
    fake = FakeBoard()
    monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(fake.port)] if fake.plugged_in else [])
    return fake


async def unplug_and_replug_elsewhere(jig):
    before = jig.board.port
    jig.board.unplug()
    await jig.sees("caution: board: ")
    assert before in jig.shown()["message"] or "no device FJ-0001 is plugged in" in jig.shown()["message"]
    await until(lambda: jig.shown()["state"] == "stale")
    jig.board.plug_in(elsewhere=True)
    await jig.goes_on()
    await jig.sees("info: board: all well again")
    await until(lambda: jig.shown()["state"] == "live")
    assert jig.board.port != before


def scans_of_before_and_after(stored):
    cut = int(stored.gaps_s().argmax())
    assert stored.gaps_s()[cut] > 0.4
    assert min(cut + 1, len(stored.scans) - cut - 1) > 20


async def fall_silent(jig):
    await jig.goes_on()
    jig.board.muted = True
    await jig.sees("stopped sending: is the board powered and running")
    await until(lambda: jig.shown()["state"] == "stale")
    jig.board.muted = False
    await jig.goes_on()
    await jig.sees("info: board: all well again")


async def send_garbage(jig):
    async def noise():
        rng = np.random.default_rng(5)
        while True:
            jig.board.write(rng.bytes(300))
            await asyncio.sleep(0.02)

    await jig.goes_on()
    jig.board.muted = True
    async with running(noise()):
        await jig.sees("no whole frame among them: another baud than 921600")
        await until(lambda: jig.shown()["state"] == "stale")
    jig.board.muted = False
    await jig.goes_on()
    assert jig.shown()["damaged"] > 10


async def send_half_frames(jig):
    await jig.goes_on()
    for _ in range(5):
        jig.board.write(jig.board.scans(1)[:7])
        await jig.goes_on()
    assert jig.shown()["damaged"] == 5
    assert 5 <= jig.shown()["dropped"] <= 10


def all_but_the_scans_cut_in_two(stored):
    # the half that came joins the next frame, which is lost with it: one or two numbers each time
    assert np.count_nonzero(stored.missing()) == 5
    assert set(stored.missing()) <= {0, 1, 2}


async def saturate(jig):
    jig.board.counts[0] = 2**23 - 6
    jig.board.status = int(Status.SATURATED)
    await jig.sees("caution: hands: at the end of its converter's scale: overloaded, or a wire of the cell is broken")
    assert "hands" in jig.session.acquisition.troubles()


def scans_with_their_status(stored):
    assert stored.scans.status[-1] == Status.SATURATED
    assert stored.scans.counts[:, 0].max() >= 2**23 - 12


async def freeze_a_cell(jig):
    await jig.goes_on()
    jig.board.frozen.add(1)
    await jig.sees("caution: saddle: has not changed by one count for 2 s: converter stuck")


def counts_that_stand_still(stored):
    assert set(stored.scans.counts[-100:, 1]) == {50_000}
    assert len(set(stored.scans.counts[:20, 1])) > 5


async def swap_plugs(jig):
    await jig.goes_on()
    jig.board.counts[:2] = reversed(jig.board.counts[:2])
    await jig.sees("are the plugs of bar and saddle swapped?")


def counts_as_they_came(stored):
    assert stored.scans.counts[0, :2] == pytest.approx([10_000, 50_000], abs=5)
    assert stored.scans.counts[-1, :2] == pytest.approx([50_000, 10_000], abs=5)


async def reboot(jig):
    await jig.goes_on()
    jig.board.reboot()
    await jig.sees("caution: the board has restarted: check its power and cable")
    await jig.goes_on()
    assert jig.shown()["dropped"] == 0


def both_lives(stored):
    ticks = stored.scans.ticks_us.astype(np.int64)
    (again,) = np.flatnonzero(np.diff(ticks) < 0)
    assert (ticks[again + 1], stored.scans.sequence[again + 1]) == (0, 0)
    assert np.delete(stored.missing(), again).sum() == 0


async def stall(jig):
    await jig.goes_on()
    for _ in range(5):
        jig.board.stalled = True
        await asyncio.sleep(0.2)
        jig.board.stalled = False
        await jig.goes_on()
    assert jig.shown()["late"] > 0
    assert jig.shown()["dropped"] == jig.shown()["damaged"] == 0


def no_number_missing(stored):
    assert stored.missing().sum() == 0


@pytest.mark.parametrize(
    ("fault", "keeps"),
    [
        (unplug_and_replug_elsewhere, scans_of_before_and_after),
        (fall_silent, scans_of_before_and_after),
        (send_garbage, scans_of_before_and_after),
        (send_half_frames, all_but_the_scans_cut_in_two),
        (saturate, scans_with_their_status),
        (freeze_a_cell, counts_that_stand_still),
        (swap_plugs, counts_as_they_came),
        (reboot, both_lives),
        (stall, no_number_missing),
    ],
    ids=lambda row: row.__name__.replace("_", " "),
)
def test_a_fault_is_told_and_all_that_came_is_stored(tmp_path, board, fault, keeps):
    base = tuple(board.counts)

    jig = uvloop.run(ride(tmp_path, fault, board=board))

    stored = kept(tmp_path)
    assert len(stored.scans) == jig.session.acquisition.sensors.decoder.scans > 0
    assert stored.acts == ACKNOWLEDGED
    assert stored.sweep_state == "stopped"
    assert (stored.gaps_s() >= 0.0).all()
    made = {*genuine(stored.scans.sequence, base), *genuine(stored.scans.sequence, board.counts)}
    assert {
        (int(n), int(hands)) for n, hands in zip(stored.scans.sequence, stored.scans.counts[:, 0], strict=True)
    } <= made
    keeps(stored)


def genuine(sequence, counts):
    """What the board gives the hands at these numbers: nothing else may be stored."""
    return [(int(n), counts[0] + noise_of(int(n))) for n in sequence]


def test_channels_in_another_order_are_taken_by_their_names(tmp_path, monkeypatch):
    fake = FakeBoard(hello(names=("saddle", "hands", "tilt")))
    fake.counts[:2] = 50_000, 10_000
    monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(fake.port)])

    jig = uvloop.run(ride(tmp_path, lambda jig: jig.goes_on(), board=fake))

    last = [output for output in jig.outputs if isinstance(output, Loads)][-1]
    assert last.hands_n[-1] == pytest.approx(100.0, abs=0.1)
    assert last.saddle_n[-1] == pytest.approx(500.0, abs=0.1)
    assert jig.session.acquisition.pipeline.cells.troubles == {}


def test_bluetooth_away_for_a_minute_is_told_and_the_sweep_goes_on(tmp_path, board, bus):
    pace, turn_s = 30.0, 60.0 / 90.0
    bluez = FakeBluez(bus.address)
    services = {
        cycling_power.SERVICE_UUID: {cycling_power.MEASUREMENT_UUID: (["notify"],)},
        battery.SERVICE_UUID: {battery.LEVEL_UUID: (["read"], bytes([90]))},
    }
    heard = []

    async def pedal():
        """A sensor that turns on at 90 rpm whether anybody listens or not."""
        loop, turn = asyncio.get_running_loop(), 0
        begun_s = loop.time()
        await bluez.start()
        try:
            crank = bluez.add("AA:BB:CC:00:00:01", "crank", services)
            while True:
                turn += 1
                fields = {"crank_revs": turn, "crank_time_1024": round(turn * turn_s * 1024) % 65536}
                payload = cycling_power.encode_power(cycling_power.PowerMeasurement(200, **fields))
                if crank.notify(cycling_power.MEASUREMENT_UUID, payload):
                    heard.append(payload)
                await asyncio.sleep(max(0.0, begun_s + turn * turn_s / pace - loop.time()))
        finally:
            await bluez.stop()

    def strokes(jig):
        return [output for output in jig.outputs if isinstance(output, Stroke)]

    async def walk_away(jig):
        await until(lambda: len(strokes(jig)) > 20)
        crank = bluez.devices["crank"]
        crank.in_range = False
        crank.lose()
        left_us = jig.session.acquisition.clock.now_us()
        await jig.sees("caution: power: power sensor crank not found: turn the cranks to wake it")
        assert "power sensor crank not found" in jig.shown("power")["message"]
        await until(lambda: jig.session.acquisition.clock.now_us() - left_us > 60e6)
        crank.in_range = True
        count = len(strokes(jig))
        await jig.sees("info: power: all well again")
        await until(lambda: len(strokes(jig)) > count + 20)

    jig = uvloop.run(ride(tmp_path, walk_away, board=board, pace=pace, more='[power]\nname = "crank"', beside=[pedal]))

    stored = kept(tmp_path)
    assert len(stored.scans) == jig.session.acquisition.sensors.decoder.scans
    assert jig.session.acquisition.sensors.decoder.dropped == 0
    assert stored.acts == ACKNOWLEDGED
    payloads = [item.payload for item in stored.notifications if item.characteristic == cycling_power.MEASUREMENT_UUID]
    assert payloads == heard[: len(payloads)]
    assert len(payloads) >= len(heard) - 3
    gap_s = max(np.diff([stroke.end_s for stroke in strokes(jig)]))
    assert gap_s > 55.0
    assert strokes(jig)[-1].crank_torque_nm == pytest.approx(21.22, rel=0.05)
