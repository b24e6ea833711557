"""A part that runs beside the others ends none of them if it fails, and is begun again."""

import asyncio

import pytest
import uvloop

from daq.items import Notification
from daq.keep.store import Store
from daq.keep.store import calibrations as kept_calibrations
from daq.live.session import listening
from daq.live.session.listening import fault_of, kept_going
from tests.live.jig import demo, serving, under_way
from tests.sources.waiting import until


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    monkeypatch.setattr(listening, "AGAIN_S", 0.01)


def test_a_part_that_fails_is_begun_again_and_each_kind_of_fault_is_told_once(caplog):
    told, faults = [], [ZeroDivisionError("a"), ZeroDivisionError("b"), KeyError("c")]

    async def part():
        if faults:
            raise faults.pop(0)

    asyncio.run(kept_going("a link", part, lambda *said: told.append(said)))

    assert [level for level, _ in told] == ["alarm", "alarm"]
    assert ["(ZeroDivisionError)" in told[0][1], "(KeyError)" in told[1][1]] == [True, True]
    assert [record.exc_info[0] for record in caplog.records] == [ZeroDivisionError, KeyError]


def test_a_part_is_begun_again_also_if_nobody_can_be_told():
    begun = []

    async def part():
        begun.append(1)
        if len(begun) == 1:
            raise ZeroDivisionError("planted")

    def fails(*_):
        raise RuntimeError("planted")

    asyncio.run(kept_going("a link", part, fails))

    assert begun == [1, 1]


def test_a_part_that_is_cancelled_is_not_begun_again():
    async def inside():
        task = asyncio.create_task(kept_going("a link", asyncio.Event().wait, print))
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    asyncio.run(inside())


def test_a_fault_in_a_group_of_tasks_goes_by_its_own_name():
    group = ExceptionGroup("tasks", [ExceptionGroup("more", [ZeroDivisionError("planted")]), KeyError("x")])

    assert fault_of(group) == "ZeroDivisionError"


def test_a_link_that_fails_in_a_sweep_ends_neither_the_daemon_nor_the_other_links(tmp_path):
    tries = []

    async def inside():
        at = running.session.acquisition
        await under_way(running.session)
        await until(lambda: len(tries) > 3)
        count = at.sensors.decoder.scans
        await until(lambda: at.sensors.decoder.scans > count + 300)
        await running.session.sweep.mark("still here")
        assert [note.level for note in at.notices if "a sensor's link failed (KeyError)" in note.text] == ["alarm"]

    async def fails():
        at = running.session.acquisition
        tries.append(1)
        at.sensors.arrive_notification(at.clock.stamp_us(), "tries", bytes([len(tries)]))
        raise KeyError("planted")

    with demo(tmp_path) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside, fails), 60))

    with Store.open(tmp_path / "demo.sqlite", write=False) as store:
        notifications = [one for one in store.read_items(1) if isinstance(one, Notification)]
    kept = [one.payload[0] for one in notifications if one.characteristic == "tries"]
    assert kept[:4] == [1, 2, 3, 4], "each of its tries is kept"


def test_what_drains_and_what_stores_are_begun_again_too(tmp_path, monkeypatch):
    failed = set()

    def once(name, real):
        async def run():
            if name not in failed:
                failed.add(name)
                raise ZeroDivisionError(name)
            await real()

        return run

    async def inside():
        at = running.session.acquisition
        await until(lambda: failed == {"session", "storing"})
        said = [f"{part} failed (ZeroDivisionError) and was restarted" for part in ("the computation", "the recording")]
        await until(lambda: all(any(note.text.startswith(one) for note in at.notices) for one in said))
        await until(lambda: at.sensors.decoder.scans > 300)

    with demo(tmp_path) as running:
        at = running.session.acquisition
        monkeypatch.setattr(running.session, "run", once("session", running.session.run))
        monkeypatch.setattr(at.storing, "run", once("storing", at.storing.run))
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))


def test_checks_of_the_calibration_that_cannot_be_understood_end_nothing(tmp_path, monkeypatch):
    """As a later version of the program may have written them."""

    def checks(*_):
        raise TypeError("unexpected keyword argument 'humidity_pct'")

    async def inside():
        await until(lambda: running.session.acquisition.sensors.decoder.scans > 300)

    monkeypatch.setattr(kept_calibrations, "checks", checks)
    with demo(tmp_path) as running:
        running.session.calibrating.checks = ("of another calibration",)
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))

    assert running.session.calibrating.checks == ()
    (told,) = [note.text for note in running.session.acquisition.notices if "checks" in note.text]
    assert told == "the checks of the calibration cannot be read: unexpected keyword argument 'humidity_pct'"
