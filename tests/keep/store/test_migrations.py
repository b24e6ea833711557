import hashlib
import sqlite3
import subprocess
import sys

import pytest

from daq.keep.errors import StoreNewer
from daq.keep.store import Store, migrations
from tests.keep.jig import recorded

# The first schema as it shipped. A change here means that a shipped step was edited: add a new step instead.
FIRST_SCHEMA_SHA256 = "fa320a0b3d326faaa12c31145527981ef5f0d66aa1d5cb65adab8d4b08b98583"


@pytest.fixture
def old_store(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        recorded(store, 2)
    return path


def forward(path, steps):
    db = sqlite3.connect(path)
    try:
        return migrations.migrate(db, path, steps)
    finally:
        db.close()


NEXT = (*migrations.STEPS, ("a note on each session", "ALTER TABLE sessions ADD COLUMN note TEXT"))
BROKEN = (*migrations.STEPS, ("half a step", "ALTER TABLE sessions ADD COLUMN note TEXT; CREATE TABLE chunks(id)"))


def test_a_copy_is_kept_before_an_older_store_is_changed(old_store):
    kept = forward(old_store, NEXT)

    assert kept == old_store.with_name(f"store.schema{len(migrations.STEPS)}.sqlite")
    assert kept.stat().st_mode & 0o077 == 0
    with Store.open(kept, write=False) as copy:
        assert len(list(copy.read_items(1))) > 0
    db = sqlite3.connect(old_store)
    assert db.execute("SELECT id, note FROM sessions").fetchall() == [(1, None)]
    assert db.execute("PRAGMA user_version").fetchone() == (len(NEXT),)
    db.close()


def test_the_older_program_then_refuses_the_store(old_store):
    forward(old_store, NEXT)

    with pytest.raises(StoreNewer):
        Store.open(old_store)


def test_a_step_that_fails_leaves_the_store_as_it_was(old_store):
    with pytest.raises(sqlite3.OperationalError):
        forward(old_store, BROKEN)

    with Store.open(old_store) as store:
        assert len(list(store.read_items(1))) > 0
        with store.reading() as db:
            assert "note" not in [row[1] for row in db.execute("PRAGMA table_info(sessions)")]


def test_a_store_of_the_newest_schema_is_not_copied(old_store):
    assert forward(old_store, migrations.STEPS) is None
    assert not list(old_store.parent.glob("*.schema*"))


def test_the_first_step_is_what_shipped():
    assert hashlib.sha256(migrations.TABLES_1.encode()).hexdigest() == FIRST_SCHEMA_SHA256


def test_file_and_schema_carry_our_mark(old_store):
    # Byte 68 of the header is the application id: sqlite.org/fileformat2.html.
    assert old_store.read_bytes()[68:72] == b"Fore"


def test_a_new_store_is_made_without_pandas_which_may_be_loaded_afterwards(tmp_path):
    """The library of the migrations would load it for a type of its own, in every command that makes a store."""
    made = (
        "import sys; from pathlib import Path; from daq.keep.store import Store; "
        "Store.open(Path(sys.argv[1])).close(); print('sqlite_utils' in sys.modules, 'pandas' in sys.modules); "
        "import pandas"
    )
    command = [sys.executable, "-c", made, str(tmp_path / "store.sqlite")]
    done = subprocess.run(command, capture_output=True, text=True, check=True)

    assert done.stdout == "True False\n"


def test_a_module_that_is_loaded_already_stays_as_it_is(tmp_path):
    """A program of somebody's that has pandas, and makes a store."""
    import pandas

    Store.open(tmp_path / "store.sqlite").close()

    assert sys.modules["pandas"] is pandas
