"""Queued items survive whoever waits for their flush."""

import asyncio
import contextlib
import sqlite3
import threading
from dataclasses import replace

import numpy as np
import pytest
import uvloop

from daq.items import Event, Notification
from daq.keep.errors import StoreDamaged, StoreError, StoreFull, StoreUnwritable
from daq.keep.store import Store, chunks, writing
from daq.values import Samples
from tests.live.session.begun import begun


def scans(at_s):
    """One scan."""
    one = np.ones(1, np.uint32)
    return Samples("board", np.array([1_000_000 * at_s]), one, one, np.zeros(1, np.uint8), np.ones((1, 2), np.int32))


def full(*_):
    raise StoreFull("no room left")


def test_what_a_full_disk_does_not_take_is_told_at_once_and_stored_when_there_is_room(tmp_path, monkeypatch, caplog):
    async def fills_up():
        store, storing = begun(tmp_path / "store.sqlite")
        with monkeypatch.context() as patched:
            patched.setattr(store, "put", full)
            storing.add(Event(1, "mark", {"text": "waits"}))
            assert [await storing.flush(), await storing.flush()] == [False, False]
        assert await storing.flush()
        await storing.close(3)

    uvloop.run(fills_up())

    assert [record.getMessage() for record in caplog.records] == [
        "kept in memory, not stored yet",
        "the store takes data again, nothing is missing",
    ]
    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [item.content["text"] for item in store.read_items(1)] == ["waits"]


def test_a_store_on_a_full_disk_can_still_be_read(tmp_path, monkeypatch):
    async def reads_full():
        store, storing = begun(tmp_path / "store.sqlite")
        with monkeypatch.context() as patched:
            patched.setattr(store, "put", full)
            storing.add(Event(1, "mark", {"text": "waits"}))
            found = await storing.call(lambda store: store.sessions())
            trouble = storing.trouble
        await storing.close(3)
        return found, trouble

    found, trouble = uvloop.run(reads_full())

    assert [session.id for session in found] == [1]
    assert trouble == "kept in memory, not stored yet: no room left"


def test_what_waited_through_a_failed_flush_is_stored_before_what_came_meanwhile(tmp_path, monkeypatch):
    """A sweep stopped by mistake that goes on: stored the other way round it would have ended."""
    tried, came = threading.Event(), threading.Event()

    def full_in_the_end(*_):
        tried.set()
        came.wait(10.0)
        raise StoreFull("no room left")

    async def goes_on():
        store, storing = begun(tmp_path / "store.sqlite")
        sweep_id = store.begin_sweep(1, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
        with monkeypatch.context() as patched:
            patched.setattr(store, "put", full_in_the_end)
            storing.add(Event(1, "mark", {"text": "waits"}))
            storing.end_sweep(sweep_id, 5, "stopped")
            flush = asyncio.create_task(storing.flush())
            await asyncio.to_thread(tried.wait, 10.0)
            storing.end_sweep(sweep_id, None, None)
            came.set()
            assert not await flush
        await storing.close(9)

    uvloop.run(goes_on())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert (store.sweep(1).to_us, store.sweep(1).state) == (None, None)


def test_a_fault_of_the_program_while_storing_loses_nothing_and_is_told(tmp_path, monkeypatch):
    async def fails():
        store, storing = begun(tmp_path / "store.sqlite")
        with monkeypatch.context() as patched:
            patched.setattr(store, "put", lambda *_: {}["chunk"])
            storing.add(Event(1, "mark", {"text": "waits"}))
            assert not await storing.flush()
            told = storing.trouble
        assert await storing.flush()
        await storing.close(3)
        return told

    assert uvloop.run(fails()) == "kept in memory, not stored yet: a fault of the program (KeyError('chunk'))"
    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [item.content["text"] for item in store.read_items(1)] == ["waits"]


@pytest.mark.parametrize(
    ("item", "named"),
    [
        (Event(2_000_000, "mark", {"text": "\ud800"}), "event mark received at 2.000 s"),
        (Event(2_000_000, "mark", {"of": object()}), "event mark received at 2.000 s"),
        (Event(2**63, "mark", {}), "event mark received at 9223372036854.775 s"),
        (Notification(2_000_000, "power", "2a63", 1.5), "notification of power received at 2.000 s"),
        (replace(scans(4), status=np.zeros(3, np.uint8)), "samples of board received at 4.000 s"),
    ],
)
def test_what_no_store_can_hold_is_told_and_holds_up_nothing_else(tmp_path, item, named):
    path = tmp_path / "store.sqlite"

    async def goes_on():
        _, storing = begun(path)
        for one in (
            Event(1, "mark", {"text": "before"}),
            scans(1),
            item,
            scans(3),
            Event(2, "mark", {"text": "after"}),
        ):
            storing.add(one)
        with pytest.raises(StoreUnwritable) as caught:
            await storing.stored()
        storing.add(Event(3, "mark", {"text": "later"}))
        await storing.stored()
        told = str(caught.value)
        assert (storing.trouble, storing.refused) == ("", told)
        with pytest.raises(StoreUnwritable) as ended:
            await storing.close(9_000_000)
        assert str(ended.value) == told
        return told

    told = uvloop.run(goes_on())

    assert told.startswith(f"The {named} cannot be stored and is lost, by a fault of this program (")
    assert told.endswith("; everything before and after it is stored. Report it with the log")
    assert told.isascii(), "it can be shown"
    with Store.open(path, write=False) as store:
        kept = list(store.read_items(1))
        assert [one.content["text"] for one in kept if isinstance(one, Event)] == ["before", "after", "later"]
        assert [us for one in kept if isinstance(one, Samples) for us in one.received_us] == [1_000_000, 3_000_000]
        assert store.session(1).ended_us == 9_000_000


def test_a_block_that_cannot_be_encoded_by_a_fault_of_ours_holds_up_no_other(tmp_path, monkeypatch):
    encode = chunks.encode

    def fails_on_one(samples):
        if 2_000_000 in samples.received_us:
            raise IndexError("planted")
        return encode(samples)

    async def goes_on():
        _, storing = begun(tmp_path / "store.sqlite")
        monkeypatch.setattr(chunks, "encode", fails_on_one)
        for one in (scans(1), scans(2), scans(3), Event(5, "mark", {"text": "x"})):
            storing.add(one)
        with pytest.raises(StoreUnwritable, match=r"samples of board received at 2\.000 s cannot be stored .*planted"):
            await storing.stored()
        storing.add(scans(9))
        await storing.stored()
        with pytest.raises(StoreUnwritable, match=r"received at 2\.000 s cannot be stored"):
            await storing.close(10_000_000)

    uvloop.run(goes_on())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        kept = list(store.read_items(1))
        assert [us for one in kept if isinstance(one, Samples) for us in one.received_us] == [1e6, 3e6, 9e6]
        assert [one.content["text"] for one in kept if isinstance(one, Event)] == ["x"]
        assert store.session(1).ended_us == 10_000_000


def test_what_an_item_wrote_before_it_failed_is_undone_and_nothing_else(tmp_path, monkeypatch):
    """A row without its twin, or a source that nothing came from, would be taken for damage."""
    insert_row = writing.insert_row

    def fails_after(db, table, **row):
        number = insert_row(db, table, **row)
        if row.get("content", "").find("second") >= 0:
            raise IndexError("planted")
        return number

    async def goes_on():
        _, storing = begun(tmp_path / "store.sqlite")
        monkeypatch.setattr(writing, "insert_row", fails_after)
        for text in ("first", "second", "third"):
            storing.add(Event(1, "mark", {"text": text}))
        with pytest.raises(StoreUnwritable, match="event mark"):
            await storing.stored()
        with pytest.raises(StoreUnwritable, match="event mark"):
            await storing.close(9)

    uvloop.run(goes_on())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [one.content["text"] for one in store.read_items(1)] == ["first", "third"]


@pytest.mark.parametrize(
    "error",
    [
        StoreFull("no room"),
        OSError("no room"),
        MemoryError(),
        sqlite3.OperationalError("locked"),
        UnicodeDecodeError("utf-8", b"\xff", 0, 1, "a message of SQLite about a damaged schema"),
    ],
)
def test_what_fails_for_the_disk_or_the_machine_alone_is_not_set_aside(tmp_path, monkeypatch, error):
    encode, fails = chunks.encode, [True]

    def fails_for_now(samples):
        if 2_000_000 in samples.received_us and fails:
            raise error
        return encode(samples)

    async def goes_on():
        _, storing = begun(tmp_path / "store.sqlite")
        monkeypatch.setattr(chunks, "encode", fails_for_now)
        storing.add(Event(1, "mark", {"text": "\ud800"}))  # so that they are tried one by one
        storing.add(scans(2))
        assert not await storing.flush()
        assert storing.refused == ""
        fails.clear()
        with pytest.raises(StoreUnwritable, match="The event mark received"):
            await storing.close(3_000_000)

    uvloop.run(goes_on())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [len(one) for one in store.read_items(1)] == [1]


@pytest.mark.parametrize(
    ("sweep_id", "content", "why"),
    [
        (1, {"x": object()}, "got object"),
        (1, {"x": "\ud800"}, "half a surrogate pair"),
        (2, {"x": 1}, "no sweep 2 in this store"),
    ],
)
def test_a_result_that_cannot_be_written_holds_up_no_other_and_no_acknowledgement(tmp_path, sweep_id, content, why):
    path = tmp_path / "store.sqlite"

    async def goes_on():
        store, storing = begun(path)
        store.begin_sweep(1, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
        storing.add_result(sweep_id, "step", "step/1", content)
        storing.add_result(1, "step", "step/1", {"y": 1})
        storing.end_sweep(1, 5, "finished")
        storing.add(Event(1, "mark", {"text": "x"}))
        await storing.stored()
        assert storing.refused.startswith(f"The step of sweep {sweep_id} cannot be written, by a fault of this program")
        assert why in storing.refused
        assert storing.refused.endswith(f"and foreaft onset {sweep_id} computes it again. Report it with the log")
        with pytest.raises(StoreUnwritable, match="cannot be written"):
            await storing.close(10)

    uvloop.run(goes_on())

    with Store.open(path, write=False) as store:
        assert [result.content for result in store.results(1, "step")] == [{"y": 1}]
        assert (store.sweep(1).to_us, store.sweep(1).state, store.session(1).ended_us) == (5, "finished", 10)


def test_a_result_of_a_sweep_whose_row_is_damaged_holds_up_no_other(tmp_path):
    async def goes_on():
        store, storing = begun(tmp_path / "store.sqlite")
        for _ in range(2):
            store.begin_sweep(1, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
        with store.writing() as db:
            db.execute("UPDATE sweeps SET plan = '[]' WHERE id = 1")
            db.execute("DELETE FROM twins WHERE of = 'sweeps' AND row_id = 1")
        for sweep_id in (1, 2):
            storing.add_result(sweep_id, "step", "step/1", {"y": 1})
        await storing.stored()
        assert "The step of sweep 1 cannot be written" in storing.refused
        assert len(store.results(2, "step")) == 1
        with pytest.raises(StoreUnwritable, match="sweep 1"):
            await storing.close(10)

    uvloop.run(goes_on())


def test_an_end_that_cannot_be_written_names_the_command_that_ends_the_sweep(tmp_path):
    async def goes_on():
        _, storing = begun(tmp_path / "store.sqlite")
        storing.end_sweep(7, 5, "finished")
        await storing.stored()
        assert "The end of sweep 7 cannot be written" in storing.refused
        assert "foreaft close 7 ends it" in storing.refused
        with pytest.raises(StoreUnwritable, match="sweep 7"):
            await storing.close(10)

    uvloop.run(goes_on())


def test_a_result_that_the_disk_does_not_take_waits_for_it(tmp_path, monkeypatch):
    async def goes_on():
        store, storing = begun(tmp_path / "store.sqlite")
        store.begin_sweep(1, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
        with monkeypatch.context() as patched:
            patched.setattr(store, "put_result", full)
            storing.add_result(1, "step", "step/1", {"y": 1})
            assert not await storing.flush()
        await storing.stored()
        assert storing.refused == ""
        await storing.close(10)

    def full(*_, **__):
        raise StoreFull("no room left")

    uvloop.run(goes_on())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [result.content for result in store.results(1, "step")] == [{"y": 1}]


def test_a_full_disk_refuses_no_item_that_it_could_hold(tmp_path, monkeypatch):
    """SQLite's own limit of pages, reached in the middle of what is stored one by one."""

    async def fills_up():
        store, storing = begun(tmp_path / "store.sqlite")
        with store.writing() as db:
            pages = db.execute("PRAGMA page_count").fetchone()[0]
        with store.reading() as db:
            db.execute(f"PRAGMA max_page_count = {pages + 2}")
        for one in (
            Event(1, "mark", {"text": "\ud800"}),
            *(Event(i, "mark", {"text": "x" * 9000}) for i in range(2, 9)),
        ):
            storing.add(one)
        assert not await storing.flush()
        assert (storing.refused, "no room" in storing.trouble) == ("", True)
        with store.reading() as db:
            db.execute("PRAGMA max_page_count = 100000")
        assert await storing.flush()
        with pytest.raises(StoreUnwritable, match=r"received at 0\.000 s cannot be stored"):
            await storing.close(3)

    uvloop.run(fills_up())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [item.received_us for item in store.read_items(1)] == list(range(2, 9))


def test_a_text_that_cannot_be_encoded_is_no_damage_of_the_store(tmp_path):
    store, _ = begun(tmp_path / "store.sqlite")
    with store, pytest.raises(StoreError, match=r"cannot hold a text with half a surrogate pair: .*ud800") as caught:
        store.put(1, [Event(1, "mark", {"text": "\ud800"})])
    assert not isinstance(caught.value, StoreDamaged)


def test_what_is_lost_when_the_daemon_ends_on_a_full_disk_is_said(tmp_path, monkeypatch):
    async def ends_full():
        store, storing = begun(tmp_path / "store.sqlite")
        monkeypatch.setattr(store, "put", full)
        storing.add(Event(5_000_000, "mark", {"text": "lost"}))
        await storing.close(47_000_000)

    with pytest.raises(StoreUnwritable, match=r"received in the last 42 s is lost: .*no room left"):
        uvloop.run(ends_full())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert store.session(1).ended_us is None, "a session whose end is missing is not said to be whole"


def test_a_flush_whose_waiter_is_cancelled_still_stores_what_it_took_up(tmp_path):
    async def cancelled_at_once():
        _, storing = begun(tmp_path / "store.sqlite")
        storing.add(Event(1, "mark", {"text": "before"}))
        waiter = asyncio.create_task(storing.flush())
        await asyncio.sleep(0)
        waiter.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await waiter
        storing.add(Event(2, "mark", {"text": "after"}))
        await storing.close(3)

    uvloop.run(cancelled_at_once())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [item.content["text"] for item in store.read_items(1)] == ["before", "after"]
