"""A sweep cut off in the middle goes on in the same step, with everything that was ridden."""

import asyncio
import datetime

import pytest
import uvloop

from daq.keep.package.permission import permitted
from daq.keep.store import Store
from daq.live.demo import calibration_of
from daq.live.session.resuming import interrupted, left_open, resume
from daq.rider.electronics import Electronics
from daq.rig_file import parse_rig
from daq.sweep.run import State, Trigger
from tests.bits import bits
from tests.live.jig import SHORT, demo
from tests.sources.waiting import until

CALIBRATION = calibration_of(Electronics())


@pytest.fixture
def cut_off(tmp_path):
    """A store whose sweep was cut off after two steps, the rig's text, and the steps as they were live."""

    async def two_steps():
        await until(
            lambda: running.session.sweep.progress is not None and len(running.session.sweep.progress.steps) == 2
        )
        raise ConnectionError("cut")

    with demo(tmp_path) as running:
        running.wait_for_end = two_steps
        running_demo = running.run(None, by_hand=True, when_done=lambda: None)

        async def both():
            from daq.live.demo import follow_plan

            fitter = asyncio.create_task(follow_plan(running.session, running.plan))
            try:
                await running_demo
            finally:
                fitter.cancel()

        with pytest.raises(ConnectionError):
            uvloop.run(both())
    with Store.open(tmp_path / "demo.sqlite") as store:
        rig_text = store.session(1).rig
        yield store, rig_text, running.session.sweep.progress.steps


def utc_now():
    return datetime.datetime.now(datetime.UTC)


def test_the_steps_ridden_before_are_there_bit_for_bit_and_the_sweep_is_paused(cut_off):
    store, rig_text, steps = cut_off
    sweep = interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=utc_now())

    async def take_up():
        return resume(store, sweep, parse_rig(rig_text), CALIBRATION, now=utc_now(), simulated=True)

    session = uvloop.run(take_up())
    assert bits(list(session.sweep.progress.steps[:2])) == bits(list(steps[:2]))
    assert session.sweep.progress.state is State.PAUSED
    assert (
        session.sweep.progress.asked_setback_mm
        == session.sweep.progress.plan.positions_mm[len(session.sweep.progress.steps)]
    )
    assert session.acquisition.clock.now_us() > store.last_us(1)


def test_a_session_that_was_ended_with_its_sweep_open_goes_on_and_the_sweep_is_not_exported_by_half(cut_off):
    """By a daemon that was closed: the end it noted is none any more."""
    store, rig_text, _ = cut_off
    store.end_session(1, ended_us=store.last_us(1))
    sweep = interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=utc_now())
    assert permitted(store, [sweep.id], "client") == ([sweep.id], [])

    async def take_up():
        resume(store, sweep, parse_rig(rig_text), CALIBRATION, now=utc_now(), simulated=True)

    uvloop.run(take_up())
    assert store.session(1).ended_us is None
    ((), (left_out,)) = permitted(store, [sweep.id], "client")
    assert "is being ridden" in str(left_out)


def test_after_resuming_the_same_position_is_asked_again(cut_off):
    store, rig_text, _ = cut_off
    sweep = interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=utc_now())

    async def go_on():
        session = resume(store, sweep, parse_rig(rig_text), CALIBRATION, now=utc_now(), simulated=True)
        asked = session.sweep.progress.asked_setback_mm
        await session.sweep.fitter(Trigger.RESUME)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, asked)
        return session.sweep.progress

    progress = uvloop.run(go_on())
    assert progress.state is State.SETTLING


def test_a_sweep_cut_off_yesterday_or_on_another_rig_is_not_taken_up(cut_off):
    store, rig_text, _ = cut_off
    tomorrow = utc_now() + datetime.timedelta(days=1)

    assert interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=tomorrow) is None
    assert interrupted(store, rig_text=rig_text + "#", calibration=CALIBRATION, now=utc_now()) is None


def test_hours_later_it_is_taken_up_when_that_is_asked_for(cut_off):
    store, rig_text, steps = cut_off
    now = utc_now() + datetime.timedelta(hours=30)
    within = datetime.timedelta(hours=31)
    sweep = interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=now, within=within)

    async def go_on():
        session = resume(store, sweep, parse_rig(rig_text), CALIBRATION, now=now, simulated=True)
        asked = session.sweep.progress.asked_setback_mm
        await session.sweep.fitter(Trigger.RESUME)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, asked)
        return session

    session = uvloop.run(go_on())
    assert bits(list(session.sweep.progress.steps)) == bits(list(steps[: len(session.sweep.progress.steps)]))
    assert session.sweep.progress.state is State.SETTLING
    assert session.acquisition.clock.now_us() > 29 * 3_600_000_000


def test_what_was_left_open_is_said_with_what_can_be_done(cut_off):
    store, _, _ = cut_off
    said = left_open(store, utc_now() + datetime.timedelta(hours=30))

    assert said.startswith("sweep 1 was cut off 30.0 hours ago and is not closed. foreaft close 1 ends it")
    store.end_sweep(1, to_us=store.last_us(1) + 1, state="cut off")
    assert left_open(store, utc_now()) == ""


def test_the_clients_visit_is_taken_up_with_its_sweep(tmp_path):
    from tests.live.visits import all_well, arrived, on_the_jig

    async def job(client, session):
        await arrived(client)
        await client.post("/api/v1/visit/overrides", json={"check": "hands", "reason": "no tape left"})
        await all_well(client, session)
        await session.sweep.fitter(Trigger.BEGIN)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, SHORT.positions_mm[0])
        await client.post("/api/v1/step-notes", json={"what": "hands", "value": 4})
        await session.acquisition.storing.flush()
        await session.acquisition.storing.call(lambda store: back_up(store, tmp_path / "copy.sqlite"))

    from daq.keep.store.backup import back_up

    (tmp_path / "live").mkdir()
    on_the_jig(tmp_path / "live", job)
    with Store.open(tmp_path / "copy.sqlite") as store:
        rig_text = store.session(1).rig
        sweep = interrupted(store, rig_text=rig_text, calibration=CALIBRATION, now=utc_now())

        async def take_up():
            session = resume(store, sweep, parse_rig(rig_text), CALIBRATION, now=utc_now(), simulated=True)
            await session.sweep.fitter(Trigger.STOP)
            return session

        session = uvloop.run(take_up())
    assert session.visit.swept
    assert [ridden.sweep_id for ridden in session.visit.ridden_here] == [sweep.id]
    assert session.visit.client.pseudonym == sweep.rider["pseudonym"]
    assert session.visit.intake.inseam_mm == 815.0
    assert session.visit.measured.cleats_set
    assert session.visit.reasons == {"hands": "no tape left"}
    assert session.acquisition.ride.remarks.notes == {0: {"hands": 4.0}}
    assert session.acquisition.rider.mass_kg == 75.0
