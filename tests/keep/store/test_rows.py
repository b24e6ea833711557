"""Rows under checksums and with twins."""

import contextlib
import json
import sqlite3

import pytest

from daq.items import Event
from daq.keep.clients import people, visits
from daq.keep.errors import StoreDamaged
from daq.keep.store import Store, migrations
from daq.keep.store.rows import TWICE, delete_stray_twins, lonely_rows, sound_rows
from daq.keep.store.sessions import add_copy
from daq.keep.store.verify import verify
from tests.keep.jig import begin, concatenated, recorded
from tests.keep.store.older import made


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def harm(store, table, column="content", number=1):
    with store.writing() as db:
        db.execute(f"UPDATE {table} SET {column} = {column} || 'x' WHERE {'id'} = ?", (number,))


def twins(store, table):
    with store.reading() as db:
        return {
            number: json.loads(text)
            for number, text in db.execute("SELECT row_id, content FROM twins WHERE of = ?", (table,))
        }


def test_a_damaged_row_is_read_from_its_twin(store):
    session_id = begin(store, rig='name = "right"\n')
    store.put(session_id, [Event(5, "mark", {"text": "kept"})])
    harm(store, "sessions", "rig")
    harm(store, "events")

    assert store.session(session_id).rig == 'name = "right"\n'
    assert [one.rig for one in store.sessions()] == ['name = "right"\n']
    assert list(store.read_items(session_id)) == [Event(5, "mark", {"text": "kept"})]
    assert verify(store).problems == ("row 1 of events is damaged", "row 1 of sessions is damaged")


def test_a_row_damaged_twice_is_named_and_the_others_are_read(store):
    first, second = begin(store), begin(store)
    harm(store, "sessions", "rig")
    with store.writing() as db:
        db.execute("UPDATE twins SET content = 'x' WHERE of = 'sessions' AND row_id = 1")
    told = []

    assert [one.id for one in store.sessions(told.append)] == [second]
    assert [str(one) for one in told] == ["row 1 of sessions is damaged; all others can be read"]
    assert told[0].row_id == first
    with pytest.raises(StoreDamaged, match="row 1 of sessions"):
        store.sessions()
    with pytest.raises(StoreDamaged, match="row 1 of sessions"):
        store.session(first)


def test_what_is_changed_later_is_under_a_checksum_and_in_the_twin(store):
    session_id = begin(store)
    sweep_id = store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=4, calibration={})
    store.end_sweep(sweep_id, to_us=77, state="finished")
    store.end_session(session_id, ended_us=99)
    assert (twins(store, "sweeps")[1]["to_us"], twins(store, "sessions")[1]["ended_us"]) == (77, 99)
    with store.writing() as db:
        db.execute("UPDATE sweeps SET to_us = 78, state = 'stopped'")
        db.execute("UPDATE sessions SET ended_us = 98")

    assert (store.sweep(sweep_id).to_us, store.sweep(sweep_id).state) == (77, "finished")
    assert store.session(session_id).ended_us == 99
    assert len(verify(store).problems) == 2


def test_every_table_with_twins_is_filled_twice_and_emptied_twice(store):
    client = people.add_client(store, name="Max")
    visit_id = visits.begin_visit(store, client.id, recorded(store, 1, client_id=client.id))
    visits.add_note(store, visit_id, "intake", {})
    people.set_consent(store, client.id, "research", True)
    with store.reading() as db:
        assert all(lonely_rows(db, table) == [] for table in TWICE)
        rows = sum(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in TWICE)
        assert db.execute("SELECT count(*) FROM twins").fetchone()[0] == rows > 8


def test_a_twin_whose_row_is_gone_goes_too(store):
    begin(store), begin(store)
    with store.writing() as db:
        db.execute("DELETE FROM sessions WHERE id = 1")
        delete_stray_twins(db)
    assert twins(store, "sessions").keys() == {2}


def stands(path, table, sql, then="SELECT 1"):
    """Makes this the definition of a table; and what is done to it then."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA writable_schema = ON")
        db.execute("UPDATE sqlite_schema SET sql = ? WHERE name = ?", (sql, table))
        db.execute("PRAGMA writable_schema = RESET")
        db.execute(then)


@pytest.mark.parametrize(
    ("table", "column", "number", "damaged"),
    [
        ("twins", "row_id", "NULL", (1, 2, 3)),
        ("twins", "row_id", "'x'", (1, 2, 3)),
        ("copied_sweeps", "copy_id", "'x'", (0,)),
    ],
)
def test_a_number_that_is_no_number_is_a_problem_and_no_fault(tmp_path, table, column, number, damaged):
    """One bit of the record's header makes it so (sqlite.org/fileformat2.html, serial types)."""
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        begin(store)
        with store.writing() as db:
            add_copy(db, "backup", path, [1])
            sound = db.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (table,)).fetchone()[0]
    lax = sound.replace(" STRICT, WITHOUT", " WITHOUT").replace(" STRICT", "").replace("INTEGER NOT NULL", "INTEGER")
    stands(path, table, lax, f"UPDATE OR IGNORE {table} SET {column} = {number}")
    stands(path, table, sound)

    with Store.open(path, write=False) as store:
        assert {f"row {row_id} of {table} is damaged" for row_id in damaged} <= set(verify(store).problems)


@pytest.fixture
def older(tmp_path):
    """A store as the program before twins wrote it."""
    path = tmp_path / "older.sqlite"
    db = sqlite3.connect(path, isolation_level=None)
    migrations.migrate(db, path, migrations.STEPS[:4])
    db.execute("PRAGMA foreign_keys = OFF")
    made(db)
    db.close()
    return path


def test_an_older_store_is_read_as_it_is(older):
    with Store.open(older, write=False) as store:
        assert [item.content["text"] for item in store.read_items(1, to_us=6)] == ["old"]
        assert people.client_called(store, "R-ABCDEF").id == 1
        assert store.sweep(1).client_id == 1
        assert verify(store).problems == ("row 2 of events is damaged",)
        with pytest.raises(StoreDamaged):
            list(store.read_items(1))


def test_brought_forward_an_older_store_gets_checksums_and_twins_and_what_was_damaged_stays_told(older):
    with Store.open(older) as store:
        assert twins(store, "events").keys() == {1}
        assert twins(store, "sweeps").keys() == twins(store, "clients").keys() == {1}
        assert verify(store).problems == ("row 2 of events is damaged", "row 2 of events is without its twin")
        with store.reading() as db:
            assert not db.execute("SELECT 1 FROM sqlite_schema WHERE name = 'second_sums'").fetchall()
            (row,) = sound_rows(db, "clients")
        assert row["crc"] is not None
        assert store.migrated_copy is not None


def test_a_store_whose_program_ended_while_it_was_brought_forward_is_brought_forward_next_time(older, monkeypatch):
    """It said already that it was of the newest schema: its rows stayed without checksums, damaged for good."""

    def killed(_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("daq.keep.store.file.complete", killed)
        with pytest.raises(KeyboardInterrupt):
            Store.open(older)

    with Store.open(older) as store:
        assert verify(store).problems == ("row 2 of events is damaged", "row 2 of events is without its twin")
        assert store.migrated_copy is not None


def test_a_store_of_second_sums_is_read_beside_and_brought_forward_with_its_raw(tmp_path):
    path = tmp_path / "older.sqlite"
    db = sqlite3.connect(path, isolation_level=None)
    migrations.migrate(db, path, migrations.STEPS[:4])
    db.close()
    with Store.open(path) as store:
        recorded(store, 3)
    assert len(concatenated(list(Store.open(path, write=False).read_items(1)))) == 300
