"""The computer's time does what it likes in mid-sweep: the answer is that of the replay, bit for bit, and records keep
UTC with its offset.

A whole session on a store and a recording; its steady clock and its time of day are made up. What a machine's clocks
do: who sets the time moves CLOCK_REALTIME alone, CLOCK_BOOTTIME counts the time asleep (clock_gettime(2)); NTP slews
both by 500 ppm at most (adjtimex(2)); summer time moves only what is shown (tzset(3)).
"""

import datetime
import sqlite3
import time

import numpy as np
import pytest
import uvloop

from daq.keep.again.recompute import recompute_stored
from daq.keep.again.replay import replayed
from daq.keep.recording import RecordingWriter, read_recording
from daq.keep.store import Store
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.measure.calibration import to_dict
from daq.sources.clock import SessionClock
from daq.sweep.run import State, Trigger
from daq.values import Onset, cut
from daq.wire import board
from tests.bits import bits
from tests.ridden import CALIBRATION, PLAN, RATE_HZ, RIG, power, scans
from tests.rigs import rig_text

SLEW = 500e-6
ASLEEP_S, FROM_S = 40, 33
"""Longer than a rider who is never quite steady is waited for."""
STATES = {33: State.SETTLING, 39: State.AVERAGING}
"""Of the third position, at these seconds."""
PIECE = 25
KINDS = (board.ChannelKind.TILT, board.ChannelKind.BRIDGE, board.ChannelKind.BRIDGE)
HELLO = board.encode_hello(
    board.HelloBody(
        "00" * 8,
        1,
        "made up",
        RATE_HZ,
        tuple(board.Channel(n, k, 1, RATE_HZ) for n, k in zip(("tilt", "hands", "saddle"), KINDS, strict=True)),
    )
)
DAY_S = 86_400.0
WALLS = {"a day on": DAY_S, "a day back": -DAY_S, "an hour back": -3600.0}


class Host:
    """A computer whose time of day and steady clock can be told what to do; the board's time is the true one."""

    def __init__(self, monkeypatch):
        self.true_s, self.slew, self.set_s = 0.0, 0.0, 0.0
        self._monkeypatch = monkeypatch

    def tell_the_time(self):
        """From now on this host's time of day is the one everybody reads."""
        real, host = datetime.datetime, self

        class Told(real):
            @classmethod
            def now(cls, tz=None):
                return real.fromtimestamp(1_790_000_000 + host.true_s + host.set_s, tz)

        self._monkeypatch.setattr(datetime, "datetime", Told)

    def steady_ns(self):
        """What the session's clock reads."""
        return round(1e9 * (self.true_s + self.slew * max(0.0, self.true_s - FROM_S)))


class Ridden:
    """A sweep ridden on this host, and what is left of it."""

    def __init__(self, host, folder, *, from_s=FROM_S, asleep_s=0, at_from=lambda: None):
        self.host, self.folder, self._at_from = host, folder, at_from
        self._from_s, self._asleep_s = from_s, asleep_s
        store = Store.open(folder / "store.sqlite")
        host.tell_the_time()
        clock = SessionClock(monotonic_ns=host.steady_ns)
        storing = begin(store, rig_text=rig_text(), calibration=CALIBRATION, simulated=True, clock=clock)
        header = {"rig": rig_text(), "calibration": to_dict(CALIBRATION), "simulated": True, "provenance": "made up"}
        self._recorder = RecordingWriter(folder / "ride.rec", header)
        self.session = Session(
            RIG, CALIBRATION, clock, Rider("R-0001", 75.0), storing=storing, simulated=True, recorder=self._recorder
        )
        self._rng, self._scan = np.random.default_rng(7), 0
        uvloop.run(self._ride())

    async def _ride(self):
        at, sweep = self.session.acquisition, self.session.sweep
        at.sensors.arrive_bytes(at.clock.stamp_us(), HELLO)
        at.drain()
        await sweep.begin(PLAN)
        await sweep.fitter(Trigger.BEGIN)
        while sweep.progress.state is State.MOVING:
            await sweep.fitter(Trigger.SADDLE_MOVED, sweep.progress.asked_setback_mm)
            while sweep.progress.state in (State.SETTLING, State.AVERAGING):
                self._second(sweep.progress.setback_mm)
        self.state, self.onset = sweep.progress.state, at.ride.onset
        self.steps, self.notes = tuple(sweep.progress.steps), [note.text for note in at.notices]
        await at.storing.close(at.clock.stamp_us())
        self._recorder.close()

    def _second(self, setback_mm):
        """One second of pedalling; the one at which the host's time goes its own way begins with that."""
        sensors, host = self.session.acquisition.sensors, self.host
        if self._scan == self._from_s * RATE_HZ:
            self._at_from()
            self.then = self.session.sweep.progress.state
            self._scan += self._asleep_s * RATE_HZ  # of which nobody hears
        made = scans(self._scan, RATE_HZ, setback_mm=setback_mm, rng=self._rng)
        for first in range(0, RATE_HZ, PIECE):
            part = cut(made, slice(first, first + PIECE))
            host.true_s = (self._scan + first + PIECE) / RATE_HZ
            stamp_us = self.session.acquisition.clock.stamp_us()
            sensors.arrive_bytes(stamp_us, b"".join(board.encode_scan(*row) for row in rows_of(part)))
            self.session.acquisition.drain()
        told = power(0, self._scan + RATE_HZ)
        sensors.arrive_notification(self.session.acquisition.clock.stamp_us(), told.characteristic, told.payload)
        self._scan += RATE_HZ
        assert self._scan < 200 * RATE_HZ, "the sweep does not end"

    def check_again(self):
        """What is computed again, from the recording and from the store, is what was seen, bit for bit."""
        assert self.state is State.FINISHED
        again = [each for each in replayed(read_recording(self.folder / "ride.rec")) if isinstance(each, Onset)]
        assert bits(again[-1]) == bits(self.onset)
        with Store.open(self.folder / "store.sqlite", write=False) as store:
            assert bits(recompute_stored(store, 1).onset) == bits(self.onset)


def rows_of(part):
    columns = (part.ticks_us, part.sequence, part.status, part.counts)
    return [(int(t), int(n), int(s), c.tolist()) for t, n, s, c in zip(*columns, strict=True)]


def times_in(path):
    """Every time of day in the store, as the moment it means."""
    with sqlite3.connect(path) as rows:
        tables = [name for (name,) in rows.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        columns = [(t, c[1]) for t in tables for c in rows.execute(f"PRAGMA table_info({t})") if c[1].endswith("_utc")]
        said = [told for table, column in columns for (told,) in rows.execute(f"SELECT {column} FROM {table}") if told]
    times = [datetime.datetime.fromisoformat(told) for told in said]
    assert all(each.utcoffset() is not None for each in times), said
    return [each.timestamp() for each in times]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patching:
        ridden = Ridden(Host(patching), tmp_path_factory.mktemp("undisturbed"))
        ridden.check_again()
        yield ridden


@pytest.mark.parametrize("wall", WALLS)
def test_a_clock_that_is_set_in_mid_sweep_changes_no_bit_of_the_answer(undisturbed, tmp_path, monkeypatch, wall):
    host = Host(monkeypatch)

    ridden = Ridden(host, tmp_path, at_from=lambda: setattr(host, "set_s", WALLS[wall]))

    ridden.check_again()
    assert bits(ridden.onset) == bits(undisturbed.onset)
    assert ridden.then in (State.SETTLING, State.AVERAGING)
    assert times_in(tmp_path / "store.sqlite")


def test_summer_time_that_begins_in_mid_sweep_changes_no_bit_and_no_record(undisturbed, tmp_path, monkeypatch):
    def spring_forward():
        monkeypatch.setenv("TZ", "EST3")
        time.tzset()

    monkeypatch.setenv("TZ", "EST4")
    time.tzset()
    try:
        ridden = Ridden(Host(monkeypatch), tmp_path, at_from=spring_forward)
    finally:
        monkeypatch.delenv("TZ")
        time.tzset()

    ridden.check_again()
    assert bits(ridden.onset) == bits(undisturbed.onset)
    assert times_in(tmp_path / "store.sqlite") == times_in(undisturbed.folder / "store.sqlite")


@pytest.mark.parametrize("slew", [SLEW, -SLEW])
def test_a_clock_that_is_slewed_in_mid_sweep_gives_the_same_again_and_hardly_another_answer(
    undisturbed, tmp_path, monkeypatch, slew
):
    host = Host(monkeypatch)

    ridden = Ridden(host, tmp_path, at_from=lambda: setattr(host, "slew", slew))

    ridden.check_again()
    assert ridden.onset.least_squares_mm == pytest.approx(undisturbed.onset.least_squares_mm, abs=0.5)


@pytest.mark.parametrize("from_s", STATES)
def test_a_lid_that_is_closed_in_mid_step_leaves_a_gap_and_the_step_is_settled_and_averaged_anew(
    tmp_path, monkeypatch, from_s
):
    ridden = Ridden(Host(monkeypatch), tmp_path, from_s=from_s, asleep_s=ASLEEP_S)

    ridden.check_again()
    assert ridden.then is STATES[from_s]
    assert len(ridden.steps) == len(PLAN.positions_mm)
    for step in ridden.steps:
        strokes = step.strokes
        assert strokes[-1].end_s - strokes[0].start_s < PLAN.dwell_s + 2.0
        assert len(strokes) + step.excluded >= PLAN.dwell_s * PLAN.cadence_rpm / 60.0 - 1.0
        assert all(stroke.scans > 0.95 * RATE_HZ * (stroke.end_s - stroke.start_s) for stroke in strokes)
        assert strokes[-1].end_s < from_s or strokes[0].start_s > from_s + ASLEEP_S + PLAN.settle_s
    assert not [note for note in ridden.notes if "averaged as it is" in note]
