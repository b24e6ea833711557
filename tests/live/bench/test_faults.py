"""A fault of ours in what judges a reading or makes the calibration: told once, and the bench goes on."""

import asyncio
import threading

import pytest

from daq.keep.errors import NotThere
from daq.keep.store import Store, calibrations
from daq.live.bench import desk as bench_desk
from daq.live.bench.desk import BenchDesk
from daq.measure.calibration.bench_log import StepKind
from tests.live.bench.simulated import on_bench, read, wanted, work_through
from tests.sources.waiting import until

UNUSED = (
    "this reading could not be used, by a fault of this program (ZeroDivisionError); everything received is kept. Read "
    "again, and report it with the log"
)
NOT_MADE = (
    "no calibration yet: it could not be computed, by a fault of this program ({}); everything received is kept. Take "
    "the last reading again, and report it with the log"
)


def fails(*_, **__):
    raise ZeroDivisionError("planted")


def logged(caplog):
    return [record.getMessage() for record in caplog.records if record.exc_info]


@pytest.mark.parametrize("fails_at", ["_findings", "_take"])
def test_a_reading_that_cannot_be_judged_is_told_once_and_can_be_read_again(tmp_path, monkeypatch, caplog, fails_at):
    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted())
        with monkeypatch.context() as patched:
            patched.setattr(BenchDesk, fails_at, fails)
            await read(made)
            await asyncio.sleep(0.1)  # some beats
        assert (desk.problem, desk.pending, desk.fields()["problem"]) == (UNUSED, (), UNUSED)
        assert desk.accepts() == ["read", "stop"]
        await made.arrived()
        desk.read()
        assert desk.problem == ""
        while not desk.bench.taken:
            await asyncio.sleep(0.005)

    on_bench(tmp_path / "s.sqlite", job)

    assert logged(caplog) == ["the bench failed"]
    with Store.open(tmp_path / "s.sqlite", write=False) as store:
        assert len(calibrations.benches(store)[0].steps) == 1


def test_what_was_accepted_of_the_reading_that_failed_is_not_kept_with_the_next(tmp_path, monkeypatch):
    """The load of a creep test is accepted before its trace is read, which may fail."""

    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted())
        monkeypatch.setattr(desk, "_accepted", ("the load is another one",))
        with monkeypatch.context() as patched:
            patched.setattr(BenchDesk, "_findings", fails)
            await read(made)
        await read(made)
        assert [taken.accepted_against for taken in desk.bench.taken] == [()]

    on_bench(tmp_path / "s.sqlite", job)


def test_a_calibration_that_cannot_be_made_is_told_once_and_made_when_the_last_reading_is_taken_again(
    tmp_path, monkeypatch, caplog
):
    def failing_with(error):
        def fails(*_, **__):
            raise error

        return fails

    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted(series=2, masses_kg=(10, 20, 40)))
        for where, error in [
            ("made_from", ZeroDivisionError("planted")),
            ("certificate", KeyError("planted")),
            ("certificate", NotThere("no bench 1 in this store")),
        ]:
            with monkeypatch.context() as patched:
                patched.setattr(bench_desk, where, failing_with(error))
                await work_through(made)
                await asyncio.sleep(0.1)  # some beats
            assert (desk.problem, desk.calibration) == (NOT_MADE.format(type(error).__name__), None)
            await desk.redo_last()
        await work_through(made)
        assert (desk.problem, desk.calibration is not None) == ("", True)

    on_bench(tmp_path / "s.sqlite", job)

    assert logged(caplog) == ["the bench failed"] * 3


def test_a_step_of_the_engineers_meanwhile_is_no_fault(tmp_path, monkeypatch, caplog):
    """Ended while the store is slow, and the reading has become complete: there is nothing left to be read."""
    add_step, complete, steps = calibrations.add_step, threading.Event(), []

    def slowly(store, number, kind, content):
        steps.append(kind)
        complete.wait(10.0)
        add_step(store, number, kind, content)

    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted())
        await made.arrived()
        desk.read()
        stopped = asyncio.create_task(desk.stop())
        await until(lambda: steps and (now := desk.fields()["reading"])["seconds"] >= now["of_s"])
        await asyncio.sleep(0.1)  # some beats
        complete.set()
        await stopped
        await asyncio.sleep(0.1)
        assert (desk.problem, desk.bench.task, len(desk.bench.taken)) == ("", None, 0)

    monkeypatch.setattr(calibrations, "add_step", slowly)
    on_bench(tmp_path / "s.sqlite", job)

    assert (steps, logged(caplog)) == ([StepKind.STOP], [])
