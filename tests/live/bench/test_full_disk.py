"""A bench whose store has no room: nothing that was read or accepted is lost, and it goes on once there is room."""

import asyncio

import pytest

from daq.keep.errors import StoreFull
from daq.keep.store import Store, calibrations
from daq.rider.electronics import CELLS
from tests.live.bench.simulated import on_bench, read, wanted, work_through


def full_for(times, monkeypatch, name):
    """The disk is full the first so many times that this is asked of the store; the times it was."""
    real, refused = getattr(calibrations, name), []

    def asked(store, *told):
        if len(refused) < times:
            refused.append(told)
            raise StoreFull("no room")
        return real(store, *told)

    monkeypatch.setattr(calibrations, name, asked)
    return refused


def test_a_reading_the_full_disk_did_not_take_is_kept_once_there_is_room(tmp_path, monkeypatch, caplog):
    refused = []

    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted())
        refused.append(full_for(3, monkeypatch, "add_step"))
        await read(made)
        assert len(desk.bench.taken) == 1

    on_bench(tmp_path / "s.sqlite", job)

    assert len(refused[0]) == 3
    assert "a listener failed" not in caplog.text, "a full disk is the store's trouble, not a fault of the program"
    with Store.open(tmp_path / "s.sqlite", write=False) as store:
        assert len(calibrations.benches(store)[0].steps) == 1


def test_a_finding_accepted_on_a_full_disk_can_be_accepted_again_once_there_is_room(tmp_path, monkeypatch):
    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted(expected_per_n=dict.fromkeys(CELLS[:2], 8550.0)))
        await work_through(made, until="hands_left/1/rising/2")
        made.hang({"hands_left": 105.0})
        await read(made)
        full_for(1, monkeypatch, "add_step")
        with pytest.raises(StoreFull):
            await desk.accept()
        assert "accept" in desk.accepts()
        await desk.accept()

        last = desk.bench.taken[-1]
        assert last.task == "hands_left/1/rising/2"
        assert "asked was 98.09 N, the reading fits 104.9" in last.accepted_against[0]

    on_bench(tmp_path / "s.sqlite", job)


def test_a_calibration_the_full_disk_did_not_take_is_made_once_there_is_room(tmp_path, monkeypatch):
    refused = full_for(3, monkeypatch, "versions")

    async def job(made):
        desk = await made.session.calibrating.begin_bench(wanted())
        await asyncio.wait_for(work_through(made), 60)
        assert desk.calibration is not None
        await asyncio.sleep(0.1)

    on_bench(tmp_path / "s.sqlite", job)

    assert len(refused) == 3
    with Store.open(tmp_path / "s.sqlite", write=False) as store:
        assert len(calibrations.calibrations(store)) == 2, "the session's own, and the one made"
