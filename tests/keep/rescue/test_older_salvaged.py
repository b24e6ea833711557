"""What a salvage brings over from a store of before there were checksums."""

import json
import sqlite3

from daq.keep.clients import people
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store, migrations
from tests.faults.rescue import harm
from tests.keep.store.older import made as made_older

UNCHECKED = "which sweeps each backup and export holds is taken unchecked: so old a store has no checksums"


def older_store(path):
    """One from before there were checksums, with a backup of its only sweep noted."""
    db = sqlite3.connect(path, isolation_level=None)
    migrations.migrate(db, path, migrations.STEPS[:4])
    made_older(db)
    db.execute("INSERT INTO client_names VALUES (1, 'Some Body')")
    db.execute("INSERT INTO consents VALUES (1, 1, 'research', 1, '2026-01-01T00:00:00+00:00')")
    db.execute("INSERT INTO copies VALUES (1, 'backup', '2026-01-01T00:00:00+00:00', '/elsewhere', NULL)")
    db.execute("INSERT INTO copied_sweeps VALUES (1, 1)")
    db.close()


def test_an_older_store_is_salvaged_into_one_of_today(tmp_path):
    path = tmp_path / "older.sqlite"
    older_store(path)
    found = salvage(path, tmp_path / "new.sqlite")

    assert found.problems[0] == "damaged and left out: 1 row"
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert people.name_of(new, 1) == "Some Body"
        assert people.consents(new, 1)["research"]
        assert db.execute("SELECT path, sweep_id FROM copies JOIN copied_sweeps ON copies.id = copy_id").fetchall() == [
            ("/elsewhere", 1)
        ]
        assert [json.loads(text) for (text,) in db.execute("SELECT content FROM events")] == [{"text": "old"}]


def test_what_copies_of_an_older_store_hold_is_taken_without_a_check_and_that_is_told(tmp_path):
    path = tmp_path / "older.sqlite"
    older_store(path)
    harm(path, "DELETE FROM events WHERE id = 2")
    found = salvage(path, tmp_path / "new.sqlite")

    assert (found.problems, found.told) == ((), (UNCHECKED,))


def test_where_an_older_store_is_damaged_its_copies_may_hold_every_sweep(tmp_path):
    """Nothing can tell whether the list is part of the damage."""
    path = tmp_path / "older.sqlite"
    older_store(path)
    found = salvage(path, tmp_path / "new.sqlite")

    assert UNCHECKED not in found.told
    assert found.problems[-1].startswith("which sweeps each backup and export holds is lost")
