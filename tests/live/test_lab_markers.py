"""Markers that have come are kept whatever becomes of their sender, its clock and the disk. No layer is needed."""

import asyncio
from types import SimpleNamespace

import numpy as np
import pytest

from daq.keep.errors import NotStored
from daq.live.lab.inlet import MARKER, MarkerInlet
from tests.live.session.begun import acquisition_into

WAITS = "kept in memory, not stored yet: no room left"


class LostError(RuntimeError):
    """As pylsl's, when the sender is gone."""


class Sent:
    """An inlet of what was sent, one list a poll; its sender answers until it has left."""

    def __init__(self, *polls, left=False):
        self.polls, self.left, self.asked, self.closed = list(polls), left, 0, 0

    def open_stream(self, _):
        """Opened by the sender's answer."""
        self.asked = 0

    def close_stream(self):
        self.closed += 1

    def pull_chunk(self, *, timeout, max_samples, as_numpy):
        assert (timeout, max_samples, as_numpy) == (0.0, 5, True)
        if not self.polls:
            raise LostError
        sent = [one.encode() if isinstance(one, str) else one for one in self.polls.pop(0)]
        return np.array(sent, dtype=object)[:, None], 100.0 + np.arange(len(sent))

    def time_correction(self, _):
        self.asked += 1
        if self.left and self.asked > 1:
            raise LostError
        return 0.5


class Kept(list):
    """What was handed to a store that may not have taken it yet."""

    add, waits, waited_for = list.append, "", 0

    async def stored(self):
        self.waited_for += 1
        if self.waits:
            raise NotStored(self.waits)


@pytest.fixture
def kept():
    return Kept()


@pytest.fixture
def at(kept):
    return acquisition_into(kept)


def take(at, sent, monkeypatch):
    """Run an inlet of the stream until it looks for another one."""
    looked = []

    def resolve(*_):
        looked.append(1)
        return ["emg"] if len(looked) == 1 else []

    lab = SimpleNamespace(
        util=SimpleNamespace(LostError=LostError, TimeoutError=TimeoutError),
        resolve_byprop=resolve,
        StreamInlet=lambda *_, **__: sent,
    )
    outlets = SimpleNamespace(time=SimpleNamespace(offset_s=40.0))
    monkeypatch.setattr("daq.live.lab.inlet.POLL_S", 0.0)

    async def until_it_is_gone():
        task = asyncio.create_task(MarkerInlet(lab, "emg", at, outlets).run())
        while not sent.closed and not task.done():
            await asyncio.sleep(0.001)
        assert not task.done(), task.exception()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    asyncio.run(asyncio.wait_for(until_it_is_gone(), 20))
    return [note.text for note in at.notices]


def markers(kept):
    return [(one.content["text"], one.content["stamp_s"], one.content["t_s"]) for one in kept if one.kind == MARKER]


def test_the_last_markers_of_a_sender_that_has_left_are_kept_without_their_offset(monkeypatch, kept, at):
    told = take(at, Sent(["start", "stop"], left=True), monkeypatch)

    assert markers(kept) == [("start", 100.0, None), ("stop", 101.0, None)]
    assert told == [
        "markers are taken from emg",
        "the last markers from emg are kept with their time of arrival: when they were sent is unknown",
        "no more markers from emg: it is gone",
    ]


def test_all_that_came_at_once_is_kept_before_the_disk_is_waited_for(monkeypatch, kept, at):
    async def stored():
        waited.append(len(kept))

    waited = []
    monkeypatch.setattr(kept, "stored", stored)
    take(at, Sent(["a", "b"], ["c"]), monkeypatch)

    assert waited == [2, 3]
    assert markers(kept) == [("a", 100.0, 60.5), ("b", 101.0, 61.5), ("c", 100.0, 60.5)]


def test_a_control_character_is_kept_where_it_can_be_seen(monkeypatch, kept, at):
    told = take(at, Sent(["trial\t1", "x" * 300]), monkeypatch)

    assert [text for text, *_ in markers(kept)] == ["trial\\t1", "x" * 200]
    assert told == ["markers are taken from emg", "no more markers from emg: it is gone"]


def test_a_marker_that_is_no_utf_8_is_kept_with_its_bytes_escaped_and_so_are_numbers(monkeypatch, kept, at):
    """ISO 8859-1, as an instrument with an older code page sends it; half a surrogate pair, which UTF-8 cannot have."""
    sent = ["größer", "größer".encode("latin-1"), b"half \xed\xa0\x80", np.float32(0.1), np.int8(-3)]
    take(at, Sent(sent), monkeypatch)

    assert [text for text, *_ in markers(kept)] == ["größer", "gr\\xf6\\xdfer", "half \\xed\\xa0\\x80", "0.1", "-3"]
    assert {type(stamp_s) for _, stamp_s, _ in markers(kept)} == {float}


def test_what_waits_for_the_disk_is_said_to_wait_and_once(monkeypatch, kept, at):
    kept.waits = WAITS
    told = take(at, Sent(["a"], ["b"]), monkeypatch)

    assert [text for text, *_ in markers(kept)] == ["a", "b"]
    assert told[1:-1] == [f"markers of emg: {WAITS}"]


def test_a_marker_is_in_the_store_before_a_stage_can_fail_on_it_and_the_next_is_too(monkeypatch, kept, at):
    def feed(_):
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(at.ride, "feed", feed)
    told = take(at, Sent(["a", "b"]), monkeypatch)

    assert [text for text, *_ in markers(kept)] == ["a", "b"]
    assert (
        told[1:-1]
        == ["a marker of emg is kept and was not passed on, by a fault of this program (ZeroDivisionError('planted'))"]
        * 2
    )
