"""What arrives is stored whatever happens to it afterwards, and the session lives on."""

import asyncio

import pytest
import uvloop

from daq.fit.step_notes import Remarks
from daq.items import Event
from daq.keep.again.ridden import ridden
from daq.keep.store import Store
from daq.live.session.acquisition import Acquisition
from daq.live.session.calibration_desk import CalibrationDesk
from daq.live.session.watch import Watch
from daq.measure.clock import BoardClock
from daq.pipeline import Pipeline
from daq.ride import STAGE_FAILED, Ride
from daq.sweep.run import State, Trigger
from daq.values import Samples, Verdict
from tests.live.jig import SHORT, demo, serving, under_way
from tests.sources.waiting import until


def stored(folder):
    with Store.open(folder / "demo.sqlite", write=False) as store:
        return list(store.read_items(1))


def test_when_every_stage_fails_all_scans_decoded_are_stored_and_the_session_lives_on(tmp_path, monkeypatch):
    real = Pipeline.each

    def each(self, item):
        if isinstance(item, Samples) and self.progress is not None:
            raise ZeroDivisionError("planted")
        return real(self, item)

    async def inside():
        session = running.session
        await under_way(session)
        await until(lambda: session.acquisition.ride.failure is not None)
        count = session.acquisition.sensors.decoder.scans
        await until(lambda: session.acquisition.sensors.decoder.scans > count + 500)
        await session.sweep.mark("still here")
        assert session.sweep.progress.state is State.MOVING
        assert [note.level for note in session.acquisition.notices if "computation failed" in note.text] == ["alarm"]
        await session.sweep.fitter(Trigger.STOP)

    monkeypatch.setattr(Pipeline, "each", each)
    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    items = stored(tmp_path)
    assert sum(len(i) for i in items if isinstance(i, Samples)) == running.session.acquisition.sensors.decoder.scans
    (mark,) = [item for item in items if isinstance(item, Event) and item.kind == STAGE_FAILED]
    assert mark.content["error"] == "ZeroDivisionError"
    assert [item.content["text"] for item in items if isinstance(item, Event) and item.kind == "mark"] == ["still here"]


def test_what_a_person_does_is_stored_and_told_of_also_when_the_remarks_fail_on_it(tmp_path, monkeypatch):
    def fails(*_):
        raise ZeroDivisionError("planted")

    async def inside():
        session = running.session
        monkeypatch.setattr(Remarks, "after", fails)
        monkeypatch.setattr(Remarks, "after_fitter", fails)
        await under_way(session)
        await session.sweep.mark("still here")
        assert session.sweep.progress.state is State.MOVING
        assert [note.level for note in session.acquisition.notices if "computation failed" in note.text] == ["alarm"]
        await session.sweep.fitter(Trigger.STOP)

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    events = [item for item in stored(tmp_path) if isinstance(item, Event)]
    assert [event.content["event"] for event in events if event.kind == "fitter"] == ["begin", "stop"]
    assert [event.content["text"] for event in events if event.kind == "mark"] == ["still here"]
    assert [event.content["error"] for event in events if event.kind == STAGE_FAILED] == ["ZeroDivisionError"]


def test_a_sweep_with_a_failure_is_kept_ridden_and_computed_again_to_the_same(tmp_path, monkeypatch):
    real = BoardClock.feed

    def feed(self, samples):
        progress = running.session.acquisition.pipeline.progress
        if progress is not None and len(progress.steps) == 2 and not failed:
            failed.append(int(samples.received_us[0]))
        if failed and samples.received_us[0] <= failed[0] <= samples.received_us[-1]:
            raise ZeroDivisionError("planted")
        return real(self, samples)

    async def ride():
        from daq.live.demo import follow_plan

        await follow_plan(running.session, SHORT)
        kept.append(running.session.visit.ridden[1])

    failed, kept = [], []
    monkeypatch.setattr(BoardClock, "feed", feed)
    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, ride), 90))

    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        again = ridden(store, 1)
        answer = store.results(1, "onset")[-1].content
    assert len(kept[0].steps) == len(SHORT.positions_mm)
    assert repr(again) == repr(kept[0])
    assert (again.onset.verdict, again.onset.onset_mm) == (Verdict.UNDECIDED, None)
    assert "the computation failed (ZeroDivisionError)" in answer["reasons"][0]


def test_a_listener_that_fails_holds_nothing_up(tmp_path, caplog):
    def fails(_):
        raise RuntimeError("planted")

    async def inside():
        running.session.acquisition.hears_output.append(fails)
        running.session.acquisition.sensors.told = fails
        await until(lambda: running.session.acquisition.sensors.decoder.scans > 300)

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    items = stored(tmp_path)
    assert sum(len(i) for i in items if isinstance(i, Samples)) == running.session.acquisition.sensors.decoder.scans
    assert "a listener failed" in caplog.text


def test_a_fault_around_all_stages_costs_nothing_that_had_arrived_and_ends_nothing(tmp_path, monkeypatch, caplog):
    """The loop around the stages fails on everything but a person's events."""
    real = Ride.feed

    def feed(self, item):
        if not isinstance(item, Event) and self.pipeline.progress is not None:
            raise ZeroDivisionError("planted")
        return real(self, item)

    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        monkeypatch.setattr(Ride, "feed", feed)
        await session.sweep.begin(SHORT)
        await until(lambda: "what arrived could not be computed" in caplog.text)
        count = session.acquisition.sensors.decoder.scans
        await until(lambda: session.acquisition.sensors.decoder.scans > count + 3000)
        await session.sweep.fitter(Trigger.STOP)  # whatever has arrived just before

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    items = stored(tmp_path)
    acts = [item.content.get("event", item.content.get("part")) for item in items if isinstance(item, Event)]
    assert acts[1:] == ["program", "stop"]
    assert sum(len(i) for i in items if isinstance(i, Samples)) == running.session.acquisition.sensors.decoder.scans


def test_what_waits_for_the_disk_is_stored_even_if_the_last_drain_fails(tmp_path, monkeypatch):
    def drain(_):
        raise ZeroDivisionError("planted")

    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        session.acquisition.act("mark", {"text": "the last words", "setback_mm": None})
        monkeypatch.setattr(Acquisition, "drain", drain)

    with demo(tmp_path) as running, pytest.raises(ZeroDivisionError):
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    assert [item.content["text"] for item in stored(tmp_path) if isinstance(item, Event)] == ["the last words"]


def test_a_beat_or_a_look_that_fails_ends_nothing(tmp_path, monkeypatch, caplog):
    def beat_fails():
        raise RuntimeError("planted")

    def look_fails(_):
        raise RuntimeError("planted")

    async def bench_fails(_):
        raise RuntimeError("planted")

    async def inside():
        session = running.session
        session.listen(output=lambda _: None, item=lambda: None, beat=beat_fails)
        await until(lambda: failed() >= {"beat_fails", "look_fails", "bench_fails"})
        count = session.acquisition.sensors.decoder.scans
        await until(lambda: session.acquisition.sensors.decoder.scans > count + 3000)

    def failed():
        return {record.exc_info[2].tb_next.tb_frame.f_code.co_name for record in caplog.records if record.exc_info}

    monkeypatch.setattr(Watch, "look", look_fails)
    monkeypatch.setattr(CalibrationDesk, "beat", bench_fails)
    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    assert failed() == {"beat_fails", "look_fails", "bench_fails"}


def test_a_lighter_rider_seated_after_a_heavy_one_is_reckoned_with_the_lighter_mass(tmp_path):
    """Hands, saddle and feet carry m g cos t together: with 60 kg never more than 60 x 9.80665 N."""
    from daq.live.session.acquisition import Rider

    strokes = []

    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        session.acquisition.seat(Rider("R-0090", 90.0))
        await session.sweep.begin(SHORT)
        session.acquisition.seat(Rider("R-0060", 60.0))
        seated_s = session.acquisition.clock.now_us() / 1e6  # strokes before it are the heavy rider's
        await until(lambda: (told := session.acquisition.stroke) is not None and told.start_s > seated_s)
        strokes.append(session.acquisition.stroke)
        await session.sweep.fitter(Trigger.STOP)
        assert session.visit.ridden[1].mass_kg == 60.0

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    (stroke,) = strokes
    assert abs(stroke.hands_n + stroke.saddle_n + stroke.feet_n - 60.0 * 9.80665) < 0.5
    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        assert ridden(store, 1).mass_kg == 60.0


def test_a_mass_corrected_after_the_end_holds_for_the_sweep_that_goes_on_also_when_it_is_computed_again(tmp_path):
    from daq.live.session.acquisition import Rider

    live = []

    async def step(session):
        before = len(session.sweep.progress.steps)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, session.sweep.progress.asked_setback_mm)
        await until(lambda: len(session.sweep.progress.steps) > before)

    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        session.acquisition.seat(Rider("R-0075", 75.0))
        await session.sweep.begin(SHORT)
        await session.sweep.fitter(Trigger.BEGIN)
        await step(session)
        await session.sweep.fitter(Trigger.STOP)
        session.acquisition.seat(Rider("R-0075", 60.0))
        await session.sweep.go_on()
        await step(session)
        await session.sweep.fitter(Trigger.STOP)
        live.append(session.visit.ridden[1])

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        again = ridden(store, 1)
    assert [round(_together_kg(step)) for step in again.steps] == [75, 60]
    assert repr(again) == repr(live[0])


def _together_kg(step):
    """Hands, saddle and feet carry m g cos t together."""
    stroke = step.strokes[-1]
    return (stroke.hands_n + stroke.saddle_n + stroke.feet_n) / 9.80665
