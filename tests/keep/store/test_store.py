import datetime
import sqlite3
import stat
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.items import Event, Hello, Notification, lost
from daq.keep.clients import people, visits
from daq.keep.errors import StoreBusy, StoreDamaged, StoreError, StoreNewer, StoreReadOnly, store_error
from daq.keep.store import Store
from daq.keep.store import file as store_file
from daq.keep.store.migrations import STEPS
from daq.keep.store.sessions import add_copy, at_utc
from daq.sweep.plan import Plan, out_and_back
from daq.values import Samples
from tests.keep.jig import begin, concatenated, pedalling, recorded, same, second_of_session


@pytest.fixture
def path(tmp_path):
    return tmp_path / "new folder" / "store.sqlite"


@pytest.fixture
def store(path):
    with Store.open(path) as opened:
        yield opened


def test_what_was_put_comes_back_after_reopening(store, path):
    session_id = recorded(store, 3)
    store.close()

    with Store.open(path) as again:
        found = list(again.read_items(session_id))
    assert same(concatenated(found), concatenated([item for s in range(3) for item in second_of_session(s)]))
    assert sum(isinstance(item, Notification) for item in found) == 12


def test_items_come_back_in_receipt_order_with_samples_cut_where_something_came_between(store):
    session_id = recorded(store, 6)

    at_us = []
    for item in store.read_items(session_id):
        at_us += item.received_us.tolist() if isinstance(item, Samples) else [item.received_us]
    assert at_us == sorted(at_us)
    assert len(at_us) == 6 * (100 + 4 + 1) + 2


def test_of_items_with_one_receipt_time_the_hello_is_first_the_scan_next_the_event_last(store):
    session_id = begin(store)
    scans = pedalling(scans=24)
    at_us = int(scans.received_us[8])
    hello, event = Hello(at_us, "jig", {"channels": []}), Event(at_us, "mark", {"text": "now"})
    store.put(session_id, [event, scans, hello])

    found = list(store.read_items(session_id))

    assert [type(item) for item in found] == [Samples, Hello, Samples, Event, Samples]
    assert found[0].received_us[-1] < found[2].received_us[0] == found[2].received_us[-1] == at_us
    assert found[-1].received_us[0] > at_us


def test_a_chunk_whose_receipt_times_run_backwards_is_found_by_the_earliest(store):
    """No session writes one; a recording from elsewhere may hold it."""
    session_id = begin(store)
    scans = pedalling(scans=16)
    store.put(session_id, [replace(scans, received_us=scans.received_us[::-1].copy())])

    found = list(store.read_items(session_id, 0, int(scans.received_us[7]) + 1))

    assert sum(len(item) for item in found) == 8


def test_two_boards_are_merged_by_receipt_time(store):
    session_id = begin(store)
    left, right = pedalling(scans=40, source="left"), pedalling(scans=40, seed=2, source="right")
    store.put(session_id, [left, right])

    found = list(store.read_items(session_id))
    starts = [int(item.received_us[0]) for item in found]
    assert starts == sorted(starts)
    assert same(concatenated(found, "left"), left)
    assert same(concatenated(found, "right"), right)


def test_a_window_takes_its_start_and_leaves_out_its_end(store):
    session_id = begin(store)
    samples = pedalling(scans=2000, channels=2)
    store.put(session_id, [samples, Event(500_000, "mark", {}), Event(1_500_000, "mark", {})])

    found = list(store.read_items(session_id, 500_000, 1_500_000))
    inside = (samples.received_us >= 500_000) & (samples.received_us < 1_500_000)
    assert np.array_equal(concatenated(found).received_us, samples.received_us[inside])
    assert [item.received_us for item in found if isinstance(item, Event)] == [500_000]


def test_receipt_times_that_jump_back_are_kept_in_the_order_of_arrival(store):
    session_id = begin(store)
    jumped = [pedalling(scans=100, channels=1, from_us=at_us) for at_us in (90_000_000, 5_000_000, 91_000_000)]
    for samples in jumped:
        store.put(session_id, [samples])

    assert same(concatenated(list(store.read_items(session_id))), concatenated(jumped))


def test_a_put_that_fails_halfway_stores_nothing(store):
    session_id = begin(store)

    with pytest.raises(TypeError):
        store.put(session_id, [Event(1, "mark", {}), Event(2, "mark", {"thing": object()})])
    assert list(store.read_items(session_id)) == []


def test_samples_without_a_scan_are_not_stored(store):
    session_id = begin(store)
    store.put(session_id, [pedalling(scans=0)])

    assert list(store.read_items(session_id)) == []


def test_hello_and_event_content_survive_and_nan_becomes_missing(store):
    session_id = begin(store)
    store.put(session_id, [Hello(1, "jig", {"gain": 64}), Event(2, "mark", {"t_s": float("nan"), "text": "größer"})])

    assert list(store.read_items(session_id)) == [
        Hello(1, "jig", {"gain": 64}),
        Event(2, "mark", {"t_s": None, "text": "größer"}),
    ]


def test_what_is_lost_at_the_moment_a_sweep_ends_is_not_lost_of_it(store):
    session_id = begin(store)
    about = {"plan": {}, "rider": {}, "gradient_pct": 0.0, "calibration": {}}
    sweep_id = store.begin_sweep(session_id, from_us=1_000, **about)
    store.end_sweep(sweep_id, to_us=2_000, state="finished")
    store.put(session_id, [lost(us, f"lost at {us}", to_us=us) for us in (999, 1_000, 1_999, 2_000)])

    assert store.losses(store.sweep(sweep_id)) == ["lost at 1000", "lost at 1999"]


def test_a_session_cut_off_says_where_it_goes_on(store):
    session_id = recorded(store, 4)
    store.put(session_id, [Event(9_000_000, "mark", {})])

    assert store.session(session_id).ended_us is None
    assert store.last_us(session_id) == 9_000_000


def test_equal_calibrations_are_kept_once_and_different_ones_all(store):
    first = begin(store, calibration={"a": 1, "b": 2})
    second = begin(store, calibration={"b": 2, "a": 1})
    third = begin(store, calibration={"a": 1.0000000001, "b": 2})

    ids = [store.session(session_id).calibration_id for session_id in (first, second, third)]
    assert ids[0] == ids[1] != ids[2]
    assert store.calibration(ids[2]) == {"a": 1.0000000001, "b": 2}


def test_a_result_is_added_beside_the_older_ones(store):
    session_id = begin(store)
    sweep_id = store.begin_sweep(
        session_id,
        from_us=10,
        plan=Plan(out_and_back(140, 60, 9)),
        rider={"mass_kg": 71.5},
        gradient_pct=4.0,
        calibration={"a": 1},
    )
    store.put_result(sweep_id, kind="onset", method="grid/1", content={"onset_mm": 0.1 + 0.2})
    store.put_result(sweep_id, kind="onset", method="grid/2", content={"onset_mm": None})
    store.put_result(sweep_id, kind="steps", method="step/1", content=[1, 2])
    store.end_sweep(sweep_id, to_us=99, state="finished")

    sweep = store.sweep(sweep_id)
    assert (sweep.to_us, sweep.state, sweep.rider, sweep.plan["dwell_s"]) == (99, "finished", {"mass_kg": 71.5}, 25.0)
    assert [(one.method, one.content) for one in store.results(sweep_id, "onset")] == [
        ("grid/1", {"onset_mm": 0.30000000000000004}),
        ("grid/2", {"onset_mm": None}),
    ]
    assert len(store.results(sweep_id)) == 3


@pytest.mark.parametrize(
    ("started", "at_us", "utc"),
    [
        ("2026-03-29T01:59:59.500+01:00", 0, "2026-03-29T00:59:59.500+00:00"),
        ("2026-03-29T01:59:59.500+01:00", 3_600_500_000, "2026-03-29T02:00:00.000+00:00"),
        ("2026-12-31T23:59:00-05:00", 60_000_000, "2027-01-01T05:00:00.000+00:00"),
        ("unknown", 5, "unknown"),
    ],
)
def test_a_time_of_a_session_is_told_in_utc_whatever_clock_was_on_the_wall(store, started, at_us, utc):
    assert at_utc(store.session(begin(store, started_utc=started)), at_us) == utc


def test_every_time_kept_has_its_offset(store):
    client = people.add_client(store, name="Max")
    people.set_consent(store, client.id, "research", True)
    session_id = recorded(store, 1)
    visits.add_note(store, visits.begin_visit(store, client.id, session_id), "intake", {})
    sweep_id = store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0, calibration={})
    store.put_result(sweep_id, kind="onset", method="grid/1", content={})
    with store.writing() as db:
        add_copy(db, "export", Path("/elsewhere"), [sweep_id])
    with store.reading() as db:
        tables = [row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        times = [
            value
            for table in tables
            for column in [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            if column.endswith("_utc")
            for (value,) in db.execute(f"SELECT {column} FROM {table}")
        ]

    assert len(times) >= 8
    assert all(datetime.datetime.fromisoformat(value).utcoffset() is not None for value in times)


@pytest.mark.parametrize(
    "ask", [lambda s: s.session(7), lambda s: s.last_us(7), lambda s: s.end_session(7, ended_us=1)]
)
def test_a_session_that_is_not_there_is_named(store, ask):
    with pytest.raises(StoreError, match="no session 7"):
        ask(store)


def test_raw_for_a_session_that_is_not_there_is_refused(store):
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.put(7, [Event(1, "mark", {})])


def test_a_second_writer_is_told_who_has_the_store(store, path):
    with pytest.raises(StoreBusy, match=r"is being written by process \d+: stop it, or give another store"):
        Store.open(path)


def test_readers_see_what_the_writer_has_acknowledged(store, path):
    with Store.open(path, write=False) as reader:
        session_id = recorded(store, 2)

        assert len(concatenated(list(reader.read_items(session_id)))) == 200
        with pytest.raises(StoreReadOnly, match="for reading only"):
            reader.put(session_id, [Event(1, "mark", {})])


def test_a_store_made_in_one_thread_is_used_in_another(store):
    found = []
    thread = threading.Thread(target=lambda: found.append(recorded(store, 1)))
    thread.start()
    thread.join()

    assert len(concatenated(list(store.read_items(found[0])))) == 100


def test_every_put_is_synced_to_the_disk(store):
    with store.reading() as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL, sqlite.org/pragma.html


def test_the_file_is_for_its_owner_alone(store, path):
    begin(store)

    for file in path.parent.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600, file


def test_a_newer_store_is_refused_and_left_alone(store, path):
    recorded(store, 1)
    store.close()
    with sqlite3.connect(path) as db:
        db.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    db.close()
    before = path.read_bytes()

    refusals = []  # kept, so that only the store itself can have let go of its lock
    for write in (True, True, False):
        with pytest.raises(
            StoreNewer, match=f"has schema {len(STEPS) + 1}, this program knows up to {len(STEPS)}"
        ) as no:
            Store.open(path, write=write)
        refusals.append(no)
    assert path.read_bytes() == before


def test_another_programs_database_is_refused_and_left_alone(path):
    path.parent.mkdir()
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE bookmarks(url)")
    db.close()
    before = path.read_bytes()

    with pytest.raises(StoreError, match="of another program"):
        Store.open(path)
    assert path.read_bytes() == before


def test_a_missing_store_is_not_made_by_reading(path):
    with pytest.raises(StoreError, match="no store at"):
        Store.open(path, write=False)
    assert not path.exists()


def test_a_file_that_sqlite_cannot_open_says_what_to_check(tmp_path):
    path = tmp_path / "no folder" / "store.sqlite"
    with pytest.raises(sqlite3.OperationalError) as caught:
        sqlite3.connect(path)

    assert str(store_error(caught.value, path)).endswith("check that the folder exists and may be read and written")


@pytest.fixture
def without_log(path):
    """A store of which only the file is left: everything of its first session was in its log."""
    with Store.open(path) as opened:
        recorded(opened, 2)
        content = path.read_bytes()
    path.write_bytes(content)
    return path


NO_TABLES = r"holds no tables: .* in its log store\.sqlite-wal, .* put that log back beside it, or restore a backup"


@pytest.mark.parametrize("write", [True, False])
def test_a_store_whose_log_was_lost_is_refused_and_left_as_it_is(without_log, write):
    before = without_log.read_bytes()

    with pytest.raises(StoreDamaged, match=NO_TABLES):
        Store.open(without_log, write=write)
    assert without_log.read_bytes() == before


def test_an_empty_file_holds_nothing_to_read_and_becomes_a_store_when_written(path):
    path.parent.mkdir()
    path.touch()

    with pytest.raises(StoreDamaged, match=NO_TABLES):
        Store.open(path, write=False)
    Store.open(path).close()
    with Store.open(path, write=False) as opened:
        assert opened.sweeps() == []


def test_a_store_that_was_killed_while_it_was_made_is_made_at_the_next_start(path, monkeypatch):
    def killed(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(store_file, "migrate", killed)
        with pytest.raises(KeyboardInterrupt):
            Store.open(path)
    assert path.stat().st_size == 4096
    Store.open(path).close()

    assert sorted(one.name for one in path.parent.iterdir()) == ["store.sqlite", "store.sqlite.lock"]
