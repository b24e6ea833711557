"""Stores in which somebody has changed a row and computed its checksums anew."""

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from tests.keep.sweeps import stored


def sealed(tmp_path, table, **changes):
    """A store with one sweep; in the rows of this table something else was sealed."""
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        stored(store)
        with store.writing() as db:
            rows = db.execute(f"SELECT id FROM {table}").fetchall()
            assert rows, f"no {table} in the store: nothing would be tried"
            for (row_id,) in rows:
                update_row(db, table, row_id, **changes)
    return path


def ended(path, *words):
    done = CliRunner().invoke(main, [word.replace("STORE", str(path)) for word in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    return done


@pytest.mark.parametrize(
    ("table", "changes", "words"),
    [
        ("sweeps", {"rider": '"heavy"'}, ("onset", "1", "--store", "STORE")),
        ("sweeps", {"rider": "[]"}, ("sweeps", "--store", "STORE")),
        ("sweeps", {"plan": "7"}, ("export", "1", "STORE.out", "--store", "STORE")),
        ("sessions", {"started_utc": "never"}, ("panel", "--store", "STORE")),
        ("hellos", {"content": '{"channels": [{}]}'}, ("onset", "1", "--store", "STORE")),
        ("hellos", {"content": '{"channels": 7}'}, ("export", "1", "STORE.out", "--store", "STORE")),
        ("hellos", {"content": "[]"}, ("export", "1", "STORE.out", "--store", "STORE")),
        ("results", {"content": '{"onset_mm": "far"}'}, ("sweeps", "--store", "STORE")),
        ("results", {"content": '{"interval_95_mm": 7}'}, ("sweeps", "--store", "STORE")),
        ("results", {"content": '{"interval_95_mm": ["a", 1]}'}, ("sweeps", "--store", "STORE")),
        ("results", {"content": "[]"}, ("sweeps", "--store", "STORE")),
        ("calibrations", {"content": "{"}, ("calibrate", "list", "--store", "STORE")),
        ("calibrations", {"content": "7"}, ("calibrate", "list", "--store", "STORE")),
        ("events", {"content": "[]"}, ("onset", "1", "--store", "STORE")),
        ("calibrations", {"content": '{"format": 7}'}, ("calibrate", "list", "--store", "STORE")),
    ],
)
def test_what_no_daemon_wrote_is_told_as_damage_and_is_no_fault(tmp_path, table, changes, words):
    assert "Traceback" not in ended(sealed(tmp_path, table, **changes), *words).output
