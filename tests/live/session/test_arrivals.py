"""What arrived is stored whatever fails on its way there, and the session lives on."""

import asyncio
import contextlib
import dataclasses
from types import SimpleNamespace

import pytest

from daq.items import FAULT, Event, Hello, Notification
from daq.keep.recording import RecordingWriter, read_recording
from daq.live.session import acquisition, sensors
from daq.live.session.acquisition import Rider
from daq.live.session.backlog import Backlog
from daq.live.session.sensors import NO_HELLO
from daq.live.session.session import Session
from daq.live.session.sweep_desk import SweepDesk
from daq.refusals import NotNow
from daq.ride import Ride
from daq.sources.clock import SessionClock
from daq.values import Loads, Samples
from daq.wire import board
from tests.live.session.begun import acquisition_into
from tests.ridden import CALIBRATION, RIG
from tests.wire.examples import HELLO as ANOTHERS

HELLO = dataclasses.replace(
    ANOTHERS, channels=tuple(dataclasses.replace(ANOTHERS.channels[0], name=one.name) for one in RIG.channels)
)


def planted(*_):
    raise ZeroDivisionError("planted")


class Kept(list):
    """What was handed to the store."""

    add, trouble, vanished, refused = list.append, "", "", ""


@pytest.fixture
def kept():
    return Kept()


@pytest.fixture
def at(kept):
    return acquisition_into(kept)


def arrive(at):
    """A hello, five scans and a notification."""
    at.sensors.arrive_bytes(at.clock.stamp_us(), board.encode_hello(HELLO))
    for i in range(5):
        at.sensors.arrive_bytes(at.clock.stamp_us(), board.encode_scan(1000 * i, i, 0, [i] * len(HELLO.channels)))
    at.sensors.arrive_notification(at.clock.stamp_us(), "2a63", b"\x00\x00\x64\x00")


def is_whole(kept):
    assert [type(item) for item in kept if not isinstance(item, Samples | Event)] == [Hello, Notification]
    return sum(len(item) for item in kept if isinstance(item, Samples)) == 5


@pytest.mark.parametrize("fails_at", ["the first item", "the block"])
def test_a_recorder_that_fails_is_told_and_stopped(tmp_path, monkeypatch, kept, fails_at):
    recorder = RecordingWriter(tmp_path / "r.foreaft", {"rig": ""})
    at = acquisition_into(kept, recorder)
    monkeypatch.setattr(recorder, "add" if fails_at == "the first item" else "flush", planted)
    monkeypatch.setattr("daq.keep.recording.FULL_BLOCK", (1, 1))

    arrive(at)
    at.drain()

    assert is_whole(kept)
    (told,) = [note.text for note in at.notices]
    assert told == (
        "the recording has ended, it cannot be written (a fault of the program, ZeroDivisionError('planted')); the "
        "store goes on"
    )
    recorder.close()  # as the daemon does at its end: nothing more to fail at
    assert not read_recording(tmp_path / "r.foreaft").complete or fails_at == "the first item"


def test_scans_that_cannot_be_joined_are_stored_and_computed_as_they_came(monkeypatch, kept, at):
    heard = []
    at.hears_scans.append(heard.append)
    monkeypatch.setattr(acquisition, "in_runs", planted)

    arrive(at)
    at.drain()

    assert is_whole(kept)
    assert sum(map(len, heard)) == 5


def test_a_hello_that_becomes_no_item_is_kept_as_text_and_told(monkeypatch, kept, at):
    monkeypatch.setattr(sensors, "item_of", planted)

    arrive(at)
    at.drain()

    (fault,) = [item for item in kept if isinstance(item, Event) and item.kind == FAULT]
    assert fault.content["hello"] == repr(HELLO)
    assert sum(len(item) for item in kept if isinstance(item, Samples)) == 5
    assert [note.level for note in at.notices if note.text == NO_HELLO] == ["alarm"]


def test_what_arrives_is_in_the_inbox_before_it_is_recorded(at):
    at.sensors = sensors.Sensors(RIG, 1.0, record=planted, notice=planted, pipeline=lambda: at.pipeline)
    with contextlib.suppress(ZeroDivisionError):
        arrive(at)  # fails at the notification, at the first of the board's bytes
    assert [type(item) for item in at.sensors.take()] == [Hello, Samples, Notification]

    with contextlib.suppress(ZeroDivisionError):
        at.sensors.arrive_notification(at.clock.stamp_us(), "2a63", b"\x00\x00\x64\x00")
    assert [type(item) for item in at.sensors.take()] == [Notification]


def test_what_follows_from_a_message_comes_after_all_of_them_are_in_the_inbox(kept, at):
    def acts(said):
        if isinstance(said, board.HelloBody):
            at.act("mark", {"text": "x"})

    at.sensors.told = acts
    arrive(at)

    assert [type(item) for item in kept][:2] == [Hello, Samples], "the mark comes after what arrived before it"


def test_what_a_person_does_is_kept_if_the_ride_fails_after_it_has_acted(tmp_path, monkeypatch, kept):
    recorder = RecordingWriter(tmp_path / "r.foreaft", {"rig": ""})
    at = acquisition_into(kept, recorder)
    real = Ride.feed

    def feed(self, item):
        real(self, item)
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(Ride, "feed", feed)
    with pytest.raises(ZeroDivisionError):
        at.act("mark", {"text": "x"})
    recorder.close()

    assert at.ride.remarks.marks == ("x",)
    assert [item.content for item in kept] == [{"text": "x"}]
    assert [item.content for item in read_recording(tmp_path / "r.foreaft").items()] == [{"text": "x"}]


def test_what_is_refused_is_not_kept(kept, at):
    with pytest.raises(NotNow):
        at.act("fitter", {"event": "begin"})

    assert kept == []


def test_what_cannot_be_computed_holds_up_neither_the_rest_nor_what_a_person_does(monkeypatch, kept, at):
    failed, heard, real = [], [], Ride.feed
    at.failed = failed.append
    at.hears_scans.append(heard.append)

    def feed(self, item):
        if isinstance(item, Hello):
            raise ZeroDivisionError("planted")
        return real(self, item)

    monkeypatch.setattr(Ride, "feed", feed)
    arrive(at)
    at.act("mark", {"text": "x"})

    assert [type(error) for error in failed] == [ZeroDivisionError]
    assert sum(map(len, heard)) == 5
    assert kept[-1].content == {"text": "x"}


def test_a_fault_in_taking_what_arrived_does_not_hold_up_a_person_either(monkeypatch, kept, at):
    failed = []
    at.failed = failed.append
    monkeypatch.setattr(at.sensors, "take", planted)

    at.act("mark", {"text": "x"})

    assert [type(error) for error in failed] == [ZeroDivisionError]
    assert [item.content for item in kept] == [{"text": "x"}]


def test_what_nobody_can_take_back_is_stored_whatever_fails_on_what_came_before_it(monkeypatch, kept, at):
    monkeypatch.setattr(at, "drain", planted)

    with pytest.raises(ZeroDivisionError):
        at.arrive("marker", {"text": "x"})

    assert [item.content for item in kept] == [{"text": "x"}]


def test_last_seconds_that_cannot_be_remembered_hold_up_nobody(monkeypatch, kept, at):
    heard = []
    at.hears_output.append(heard.append)
    monkeypatch.setattr(Backlog, "remember", planted)

    arrive(at)
    at.drain()
    at.notice("info", "still here")

    assert is_whole(kept)
    assert sum(len(one) for one in heard if isinstance(one, Loads)) == 5
    assert at.notices[-1].text == heard[-1].text == "still here"


def test_a_beat_that_fails_is_told_once_and_marks_the_sweep_and_the_next_goes_on(monkeypatch, kept):
    spoiled = []
    monkeypatch.setattr(SweepDesk, "spoiled", lambda _, *said: spoiled.append(said))
    session = Session(RIG, CALIBRATION, SessionClock(), Rider("R-1", 75.0), simulated=True)
    at = session.acquisition
    at.storing = SimpleNamespace(add=kept.append, trouble="", vanished="", refused="")
    monkeypatch.setattr(session.calibrating, "load_checks", nothing)
    monkeypatch.setattr("daq.live.session.beat.TICK_S", 0.001)
    real, left = Ride.feed, [2]

    def feed(self, item):
        if isinstance(item, Samples) and left[0]:
            left[0] -= 1
            raise ZeroDivisionError("planted")
        return real(self, item)

    async def beats():
        task, heard = asyncio.create_task(session.run()), []
        at.hears_scans.append(heard.append)
        while not heard:
            arrive(at)
            await asyncio.sleep(0.002)
            assert not task.done(), task.exception()
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task

    monkeypatch.setattr(Ride, "feed", feed)
    asyncio.run(asyncio.wait_for(beats(), 20))

    told = [note for note in at.notices if "fault of this program (ZeroDivisionError)" in note.text]
    assert [note.level for note in told] == ["alarm"]
    assert spoiled == [("program", told[0].text)]
    at.drain()
    assert sum(len(item) for item in kept if isinstance(item, Samples)) == at.sensors.decoder.scans


async def nothing():
    """In place of what needs a store."""


def test_what_no_store_can_hold_is_a_trouble_of_the_store_also_in_another_place(kept, at):
    kept.refused = "A mark is lost"
    assert at.troubles()["store"] == "A mark is lost"
    kept.vanished = "the store is elsewhere"
    assert at.troubles()["store"] == "the store is elsewhere. A mark is lost"
