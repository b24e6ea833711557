"""What the session does when things go wrong, on the simulated jig over a real pseudo-terminal."""

import os
from dataclasses import replace

import pytest

from daq.keep.errors import StoreBusy
from daq.keep.store import Store
from daq.live.telling.sweep_view import steps, sweep_status
from daq.live.web.api import Pain
from daq.refusals import BadValue, NotNow
from daq.sweep.run import State, Trigger
from daq.values import Samples
from daq.wire import board
from tests.live.bench.simulated import wanted
from tests.live.jig import SHORT, demo, run, serving, under_way
from tests.sources.waiting import until


def test_a_second_daemon_on_the_same_store_gets_one_clear_sentence(tmp_path):
    with Store.open(tmp_path / "demo.sqlite"), pytest.raises(StoreBusy) as caught:
        Store.open(tmp_path / "demo.sqlite")

    assert str(tmp_path / "demo.sqlite") in str(caught.value)


def test_a_sweep_cannot_begin_while_another_runs(tmp_path):
    async def inside():
        await until(lambda: running.session.acquisition.pipeline.channels)
        await running.session.sweep.begin(SHORT)
        await running.session.sweep.fitter(Trigger.BEGIN)
        with pytest.raises(NotNow, match="a sweep is under way"):
            await running.session.sweep.begin(SHORT)
        await running.session.sweep.fitter(Trigger.STOP)

    with demo(tmp_path) as running:
        run(serving(running, inside))
    assert running.session.sweep.progress.state is State.STOPPED


def test_an_adaptive_range_too_narrow_for_the_jig_is_refused_before_anything_is_ridden(tmp_path):
    """Five places a millimetre apart: a plan that may be ridden in any other order."""
    narrow = replace(SHORT, positions_mm=(64.0, 63.0, 62.0, 61.0, 60.0), order="adaptive")

    async def inside():
        await until(lambda: running.session.acquisition.pipeline.channels)
        with pytest.raises(BadValue, match="needs 5 mm or more from end to end on this jig, got 64 to 60 mm"):
            await running.session.sweep.begin(narrow)

    with demo(tmp_path) as running:
        run(serving(running, inside))
    assert running.session.sweep.progress is None


def test_a_sweep_that_has_ended_may_go_on_unless_something_else_has_the_jig(tmp_path):
    async def inside():
        sweep, calibrating = running.session.sweep, running.session.calibrating
        await until(lambda: running.session.acquisition.pipeline.channels)
        await sweep.begin(SHORT)
        await sweep.fitter(Trigger.BEGIN)
        assert not sweep.may_go_on
        await sweep.fitter(Trigger.STOP)
        assert sweep.may_go_on
        await calibrating.begin_bench(wanted())
        assert not sweep.may_go_on
        calibrating.leave_bench()
        assert sweep.may_go_on

    with demo(tmp_path) as running:
        run(serving(running, inside))


def test_a_sweep_that_goes_on_is_open_in_the_store_again_so_that_it_can_be_taken_up(tmp_path):
    async def inside():
        session = running.session
        await under_way(session)
        await session.sweep.fitter(Trigger.STOP)
        seen.append(await session.acquisition.ask(lambda store: store.sweep(1)))
        await session.sweep.go_on()
        seen.append(await session.acquisition.ask(lambda store: store.sweep(1)))

    seen = []
    with demo(tmp_path) as running:
        run(serving(running, inside))

    assert [(sweep.to_us is None, sweep.state) for sweep in seen] == [(False, "stopped"), (True, None)]


def test_before_the_boards_hello_a_sweep_is_refused_with_the_reason(tmp_path):
    async def inside():
        with pytest.raises(NotNow, match="the board has sent nothing usable yet"):
            await running.session.sweep.begin(SHORT)
        await running.session.acquisition.storing.close(1)

    with demo(tmp_path) as running:
        run(inside())


def test_a_refused_event_is_not_kept_and_an_accepted_one_is_durable_at_once(tmp_path):
    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        await session.sweep.begin(SHORT)
        with pytest.raises(NotNow):
            await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        await session.sweep.fitter(Trigger.BEGIN)
        with Store.open(tmp_path / "demo.sqlite", write=False) as reader:
            kept = [i.content["event"] for i in reader.read_items(1) if getattr(i, "kind", "") == "fitter"]
        assert kept == ["begin"]

    with demo(tmp_path) as running:
        run(serving(running, inside))


def test_a_board_of_another_protocol_version_is_named_with_both_versions(tmp_path):
    async def inside():
        session = running.session
        hello = board.HelloBody(
            "00" * 8, 1, "new", 100.0, (board.Channel("tilt", board.ChannelKind.TILT, 1, 100.0),), version=9
        )
        session.acquisition.sensors.arrive_bytes(1, b"\0" + board.encode_hello(hello))
        session.acquisition.drain()
        assert "wire protocol 9" in session.acquisition.troubles()["board"]
        await session.acquisition.storing.close(1)

    with demo(tmp_path) as running:
        run(inside())


def test_a_board_without_the_rigs_channels_is_named_with_what_it_has(tmp_path):
    async def inside():
        session = running.session
        hello = board.HelloBody("00" * 8, 1, "other", 100.0, (board.Channel("tilt", board.ChannelKind.TILT, 1, 100.0),))
        session.acquisition.sensors.arrive_bytes(1, b"\0" + board.encode_hello(hello))
        session.acquisition.drain()
        assert "no channel hands_left, hands_right" in session.acquisition.troubles()["board"]
        await session.acquisition.storing.close(1)

    with demo(tmp_path) as running:
        run(inside())


def test_what_the_board_sent_is_stored_to_the_last_scan(tmp_path):
    async def inside():
        await until(lambda: running.session.acquisition.sensors.decoder.scans > 500)

    with demo(tmp_path) as running:
        run(serving(running, inside))
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        stored = sum(len(item) for item in store.read_items(1) if isinstance(item, Samples))
    assert stored == running.session.acquisition.sensors.decoder.scans
    assert running.session.acquisition.sensors.decoder.dropped == 0


def test_a_port_that_vanishes_mid_sweep_is_told_and_nothing_recorded_is_lost(tmp_path):
    async def inside():
        session = running.session
        await under_way(session)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        await until(lambda: session.acquisition.sensors.decoder.scans > 500)
        os.close(running.board.terminal.master)
        running.board.terminal.master = os.open("/dev/null", os.O_RDWR)
        await until(
            lambda: (
                "gone" in session.acquisition.troubles()["board"]
                or "no port" in session.acquisition.troubles()["board"]
            )
        )
        assert session.sweep.progress.state is not State.STOPPED

    with demo(tmp_path) as running:
        run(serving(running, inside))
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        stored = sum(len(item) for item in store.read_items(1) if isinstance(item, Samples))
    assert stored == running.session.acquisition.sensors.decoder.scans


async def settling(session):
    """A short sweep begun, the saddle at its first place."""
    await under_way(session)
    await session.sweep.fitter(Trigger.SADDLE_MOVED, 70.0)


def test_pain_pauses_the_sweep_and_is_kept_with_its_setback_until_the_ride_goes_on(tmp_path):
    async def inside():
        session = running.session
        await settling(session)
        await session.sweep.mark("coughed or talked")
        assert session.sweep.progress.state is State.SETTLING
        await session.sweep.mark("pain or numbness")
        assert session.sweep.progress.state is State.PAUSED
        last = session.acquisition.notices[-1]
        assert (last.level, last.pain) == ("alarm", True)
        assert sweep_status(session)["pain"] is True
        with pytest.raises(NotNow, match="first say where, on which side and how much"):
            await session.sweep.fitter(Trigger.RESUME)
        await session.sweep.tell_pain(place="wrists", side="left", score=4, red=None)
        await session.sweep.fitter(Trigger.RESUME)
        assert sweep_status(session)["pain"] is False
        assert session.acquisition.ride.remarks.marks == (
            "coughed or talked at 70 mm",
            "pain or numbness at 70 mm",
            "pain or numbness: wrists, left, 4 of 10 at 70 mm",
        )
        await session.sweep.mark("pain or numbness")
        with pytest.raises(NotNow, match="first say"):
            await session.sweep.fitter(Trigger.RESUME)
        await session.sweep.fitter(Trigger.STOP)

    with demo(tmp_path) as running:
        run(serving(running, inside))


@pytest.mark.parametrize(
    ("told", "kept"),
    [(("neck", "both", 7), ": neck, both, 7 of 10; dizziness"), ((None, None, None), ": dizziness")],
    ids=["whole", "by itself"],
)
def test_what_is_red_ends_the_sweep_and_no_other_begins_today(tmp_path, told, kept):
    async def inside():
        session = running.session
        await settling(session)
        await session.sweep.tell_pain(**dict(zip(("place", "side", "score"), told, strict=True)), red="dizziness")
        assert session.acquisition.ride.remarks.marks == (f"pain or numbness{kept} at 70 mm",)
        assert session.sweep.progress.state is State.STOPPED
        assert sweep_status(session)["over"] == "dizziness"
        await session.sweep.begin(SHORT)
        with pytest.raises(NotNow, match="dizziness was reported: the ride is over today"):
            await session.sweep.fitter(Trigger.BEGIN)
        session.sweep.put_away()
        await session.sweep.begin(SHORT)
        await session.sweep.fitter(Trigger.BEGIN)
        await session.sweep.fitter(Trigger.STOP)

    with demo(tmp_path) as running:
        run(serving(running, inside))


@pytest.mark.parametrize("missing", ["place", "side", "score"])
def test_a_pain_that_does_not_end_the_ride_is_told_whole(missing):
    told = {"place": "neck", "side": "both", "score": 7, "red": None}

    assert Pain(**told).score == 7
    with pytest.raises(ValueError, match="expected where it hurts, on which side, and how much from 0 to 10"):
        Pain(**{**told, missing: None})
    assert Pain(red="chest pain").place is None


def test_nothing_can_be_scored_before_a_step_is_ridden(tmp_path):
    async def inside():
        session = running.session
        await under_way(session)
        assert sweep_status(session)["noted_step"] is None
        with pytest.raises(NotNow, match="no step is ridden yet"):
            await session.sweep.note_step("hands", 3.0)
        await session.sweep.fitter(Trigger.STOP)

    with demo(tmp_path) as running:
        run(serving(running, inside))


def test_after_a_step_that_was_left_out_the_table_shows_each_score_at_the_step_it_is_of(tmp_path):
    async def inside():
        session = running.session
        await under_way(session)
        progress = session.sweep.progress
        progress.left_out.append(0)  # as in a sweep taken up with a gap
        await session.sweep.fitter(Trigger.SADDLE_MOVED, progress.asked_setback_mm)
        await session.sweep.note_step("hands", 3.0)
        seen.append(sweep_status(session))
        await until(lambda: progress.steps)
        seen.append(sweep_status(session))
        seen.append(steps(session))
        await session.sweep.fitter(Trigger.STOP)

    seen = []
    with demo(tmp_path) as running:
        run(serving(running, inside))

    during, between, (row,) = seen
    assert [(status["noted_step"], status["notes"]) for status in (during, between)] == [(1, {"hands": 3.0})] * 2
    assert during["step"] == during["noted_step"] + 1
    assert row["notes"] == {"hands": 3.0}
    assert running.session.visit.ridden[1].notes == {0: {"hands": 3.0}}
