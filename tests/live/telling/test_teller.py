"""What pages are told and how often, on a session whose board has said hello and nothing more."""

import json
import struct
from dataclasses import replace

import pytest
import uvloop

from daq.keep.store import Store
from daq.live.real import begin
from daq.live.session import beat
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.live.telling import messages
from daq.live.telling.teller import Teller
from daq.measure.calibration import CalibratedChannel, Calibration
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sweep.run import Trigger
from daq.wire import board
from tests.live.jig import SHORT
from tests.rigs import rig_text
from tests.sources.waiting import running

CALIBRATION = Calibration(
    "first",
    "2026-01-01T00:00:00+00:00",
    (
        CalibratedChannel("hands", "force", (0.0, 0.01), zero_counts=0.0),
        CalibratedChannel("saddle", "force", (0.0, 0.01), zero_counts=0.0),
        CalibratedChannel("tilt", "tilt", (0.0, 0.001)),
    ),
)
HELLO = board.HelloBody(
    "00" * 8,
    1,
    "test",
    100.0,
    tuple(board.Channel(name, board.ChannelKind.BRIDGE, 1, 1.0) for name in CALIBRATION.names),
)


@pytest.fixture
def on_a_session(tmp_path, monkeypatch):
    """Runs a job with the session and its teller, while the session beats fast."""
    monkeypatch.setattr(beat, "TICK_S", 0.002)
    text, clock = rig_text(), SessionClock()

    async def inside(job):
        store = Store.open(tmp_path / "s.sqlite")
        storing = begin(store, rig_text=text, calibration=CALIBRATION, simulated=True, clock=clock)
        session = Session(parse_rig(text), CALIBRATION, clock, Rider("R-1", 75.0), storing=storing)
        session.acquisition.sensors.arrive_bytes(clock.stamp_us(), b"\0" + board.encode_hello(HELLO))
        session.acquisition.drain()
        teller = Teller(session)
        async with running(session.run()):
            await job(session, teller)
        await storing.close(clock.stamp_us())

    return lambda job: uvloop.run(inside(job))


async def told(page, *, looks=1):
    """The messages up to this many further reports of the sensors, which come at fixed beats."""
    found = []
    while sum(one["type"] == "sources" for one in found) < looks:
        message = await page.get()
        if isinstance(message, str):
            found.append(json.loads(message))
    return found


def of(kind, messages):
    return [one for one in messages if one["type"] == kind]


def test_a_page_begins_with_one_snapshot_and_starts_again_from_one_only_when_the_rider_is_another(on_a_session):
    async def job(session, teller):
        page = teller.join()
        began = await told(page)
        session.acquisition.seat(Rider("R-2", 60.0))
        after = await told(page, looks=2)

        assert began[0]["type"] == "snapshot"
        assert len(of("snapshot", began)) == 1
        (fresh,) = of("snapshot", after)
        assert fresh["rider"] == {**began[0]["rider"], "pseudonym": "R-2", "mass_kg": 60.0}

    on_a_session(job)


def test_another_calibration_is_told_with_a_snapshot(on_a_session):
    async def job(session, teller):
        page = teller.join()
        await told(page)
        session.acquisition.use(replace(CALIBRATION, id="second"))
        (fresh,) = of("snapshot", await told(page, looks=2))

        assert fresh["calibration"]["id"] == "second"

    on_a_session(job)


def test_a_sweep_is_told_while_there_is_one_and_its_steps_once_for_each_change(on_a_session):
    async def job(session, teller):
        page = teller.join()
        without = await told(page)
        await session.sweep.begin(SHORT)
        await told(page, looks=2)
        await session.sweep.fitter(Trigger.BEGIN)
        begun = await told(page, looks=2)

        assert of("sweep", without) == []
        assert len(of("steps", begun)) == 1
        assert len(of("sweep", begun)) > 1, "its clock is told on and on"
        assert {one["state"] for one in of("sweep", begun)[1:]} == {"moving"}

    on_a_session(job)


def counted(block):
    """Scans in a block of loads."""
    return struct.unpack_from("<BBH", block)[2]


async def blocks(page, n):
    """The next n blocks of loads."""
    found = []
    while len(found) < n:
        message = await page.get()
        if not isinstance(message, str):
            found.append(message)
    return found


def scans(first, n):
    """So many scans in the board's own words."""
    return b"".join(board.encode_scan(i * 10_000, i, 0, (0, 0, 0)) for i in range(first, first + n))


def test_a_hello_between_the_scans_of_one_beat_does_not_cut_what_a_page_is_told(on_a_session):
    async def job(session, teller):
        page = teller.join()
        await told(page)
        arrive, now_us = session.acquisition.sensors.arrive_bytes, session.acquisition.clock.stamp_us
        arrive(now_us(), scans(0, 3))
        arrive(now_us(), board.encode_hello(HELLO) + scans(3, 3))
        (block,) = await blocks(page, 1)

        assert counted(block) == 6

    on_a_session(job)


def test_the_scans_of_a_beat_are_told_before_what_comes_of_them(on_a_session):
    async def job(session, teller):
        page, at = teller.join(), session.acquisition
        await told(page)
        at.sensors.arrive_bytes(at.clock.stamp_us(), scans(0, 3))
        at.drain()
        at.notice("info", "what comes of them")
        told_first = await page.get()
        while isinstance(told_first, str) and json.loads(told_first)["type"] != "notice":
            told_first = await page.get()

        assert counted(told_first) == 3

    on_a_session(job)


def test_a_page_that_joins_within_a_beat_is_told_its_scans_once_and_so_are_the_others(on_a_session):
    async def job(session, teller):
        page = teller.join()
        at = session.acquisition
        at.sensors.arrive_bytes(at.clock.stamp_us(), scans(0, 3))
        at.drain()
        late = teller.join()
        at.sensors.arrive_bytes(at.clock.stamp_us(), scans(3, 2))

        assert [counted(block) for block in await blocks(late, 2)] == [3, 2]
        assert [counted(block) for block in await blocks(page, 2)] == [3, 2]

    on_a_session(job)


def test_scans_that_cannot_be_told_are_not_told_again_with_those_that_come_after(on_a_session, monkeypatch):
    """They would be more at each beat; a page has a chart of the last seconds, not a record."""
    real, asked = messages.joined_block, []

    def joined_block(loads):
        asked.append(1)
        if len(asked) == 1:
            raise ZeroDivisionError("planted")
        return real(loads)

    async def job(session, teller):
        page, at = teller.join(), session.acquisition
        await told(page)
        monkeypatch.setattr(messages, "joined_block", joined_block)
        at.sensors.arrive_bytes(at.clock.stamp_us(), scans(0, 3))
        while not asked:
            await told(page)
        at.sensors.arrive_bytes(at.clock.stamp_us(), scans(3, 2))

        assert [counted(block) for block in await blocks(page, 1)] == [2]

    on_a_session(job)
