"""A store from elsewhere whose file says more than tables: nothing of it runs, and nothing is called whole."""

import os
import sqlite3
import struct

import pytest
import zstandard

from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.backup import restore
from daq.keep.store.checksums import COVERED
from daq.keep.store.chunks import BadChunk, decode
from daq.keep.store.contents import JSON_COLUMNS
from daq.keep.store.migrations import STEPS
from daq.keep.store.rows import insert_row
from daq.keep.store.schema import check_schema, distrust
from daq.keep.store.verify import verify
from tests.keep.jig import recorded


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        recorded(store, 2)
    return path


def changed(path, script):
    db = sqlite3.connect(path)
    db.executescript(script)
    db.close()


HOSTILE = [
    ("CREATE TRIGGER t BEFORE INSERT ON events BEGIN SELECT RAISE(IGNORE); END", "holds a trigger 't'"),
    ("CREATE VIEW v AS SELECT 1", "holds a view 'v'"),
    ("CREATE TABLE x(a)", "holds a table 'x'"),
    ("CREATE VIRTUAL TABLE f USING fts5(x)", "holds a table 'f'"),
    ("CREATE INDEX i ON events(abs(received_us))", "holds a index 'i'"),
    ("DROP TABLE events; CREATE VIEW events AS SELECT 1 AS id", "holds a view 'events'"),
    ("DROP TABLE copied_sweeps", "the table 'copied_sweeps' is missing"),
    ("DROP INDEX events_by_time", "the index 'events_by_time' is missing"),
    ("ALTER TABLE events ADD COLUMN more TEXT", "the table 'events' is not as this program makes it"),
    (
        "CREATE TRIGGER t BEFORE INSERT ON events BEGIN SELECT RAISE(IGNORE); END; PRAGMA writable_schema = ON; "
        "UPDATE sqlite_schema SET name = 'sqlite_stat_t', sql = replace(sql, 'TRIGGER t', 'TRIGGER sqlite_stat_t') "
        "WHERE name = 't'",
        "holds a trigger 'sqlite_stat_t'",
    ),
    (
        "CREATE UNIQUE INDEX i ON events(kind); PRAGMA writable_schema = ON; "
        "UPDATE sqlite_schema SET name = 'sqlite_autoindex_i', "
        "sql = replace(sql, 'INDEX i', 'INDEX sqlite_autoindex_i') WHERE name = 'i'",
        "holds a index 'sqlite_autoindex_i'",
    ),
    ("ALTER TABLE _sqlite_migrations ADD COLUMN more AS (zeroblob(1))", "holds a table '_sqlite_migrations'"),
]


@pytest.mark.parametrize(("script", "said"), HOSTILE)
def test_a_schema_that_is_not_the_programs_own_is_refused_by_all_that_open_it(path, tmp_path, script, said):
    changed(path, script)

    for opening in (
        lambda: Store.open(path),
        lambda: Store.open(path, write=False),
        lambda: restore(path, tmp_path / "restored.sqlite"),
    ):
        with pytest.raises(StoreDamaged, match=said) as refusal:
            opening()
        assert str(path) in str(refusal.value)
    assert not (tmp_path / "restored.sqlite").exists()


@pytest.mark.parametrize("column", ["type", "name", "sql"])
def test_a_schema_whose_text_has_become_bytes_is_damaged(path, column):
    bytes_ = f"UPDATE sqlite_schema SET {column} = CAST({column} AS BLOB) WHERE name = 'events_by_time'"
    changed(path, f"PRAGMA writable_schema = ON; {bytes_}")

    with pytest.raises(StoreDamaged):
        Store.open(path, write=False)


@pytest.mark.parametrize(("script", "said"), HOSTILE)
def test_salvage_brings_the_records_out_without_what_stands_in_the_schema(path, tmp_path, script, said):
    changed(path, script)

    found = salvage(path, tmp_path / "new.sqlite")

    assert found.scans == 200
    with Store.open(tmp_path / "new.sqlite") as new:
        assert verify(new).problems == ()


@pytest.mark.parametrize("table", ["notifications", "copied_sweeps"])
def test_a_view_in_a_tables_place_is_not_read_by_salvage(path, tmp_path, table):
    endless = (
        "WITH RECURSIVE n(id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n) SELECT id, id AS copy_id, id AS sweep_id"
    )
    changed(path, f"DROP TABLE {table}; CREATE VIEW {table} AS {endless} FROM n")

    found = salvage(path, tmp_path / "new.sqlite")

    assert found.scans == 200


def test_rows_that_are_no_records_stop_no_salvage(path, tmp_path):
    """Under a checksum of its own anything can stand."""
    with Store.open(path) as store, store.writing() as db:
        insert_row(
            db, "sweeps", session_id=1, calibration_id=1, from_us=50_000_000, gradient_pct=0.0, plan="{}", rider="{}"
        )
        for content in ("no JSON", "[]", '{"plan":7,"mass_kg":[]}', '{"plan":{"gradient_pct":"x"},"mass_kg":1}'):
            insert_row(db, "events", session_id=1, received_us=5, kind="sweep-begun", content=content)
        insert_row(db, "results", sweep_id=1, kind="x", method="x", made_utc="2026-01-01T00:00:00Z", content="no JSON")

    found = salvage(path, tmp_path / "new.sqlite")

    assert found.scans == 200
    assert found.rebuilt == ()
    assert any("cannot be rebuilt" in problem for problem in found.problems)


@pytest.mark.parametrize("version", range(len(STEPS) + 1))
def test_the_schema_of_every_version_is_known(path, version):
    db = sqlite3.connect(":memory:")
    for _, sql in STEPS[:version]:
        db.executescript(sql)

    check_schema(db, path, version)
    db.close()


@pytest.mark.parametrize("content", ["[" * 5000 + "]" * 5000, '{"a":NaN}', '{"a":1e999}', "{", "9" * 5000])
def test_json_that_this_program_does_not_write_is_not_restored_whatever_its_checksum(path, tmp_path, content):
    with Store.open(path) as store, store.writing() as db:
        insert_row(db, "events", session_id=1, received_us=1, kind="mark", content=content)

    with pytest.raises(StoreError, match=r"sqlite holds what no store of ours does: row \d+ of events: content: "):
        restore(path, tmp_path / "restored.sqlite")
    assert not (tmp_path / "restored.sqlite").exists()


def test_every_column_of_json_is_looked_at():
    named = {"content", "plan", "rider", "setup"}

    assert {(table, column) for table, columns in COVERED.items() for column in columns if column in named} == {
        (table, column) for table, columns in JSON_COLUMNS.items() for column in columns
    }


def test_statistics_of_sqlite_itself_are_no_offence(path):
    changed(path, "ANALYZE")

    with Store.open(path) as store:
        assert verify(store).problems == ()


def test_what_stands_in_a_schema_is_not_trusted(path):
    with Store.open(path) as store, store.reading() as db:
        # sqlite.org/security.html, "Untrusted SQLite Database Files"
        assert db.execute("PRAGMA trusted_schema").fetchone() == (0,)
        assert db.execute("PRAGMA cell_size_check").fetchone() == (1,)
        assert db.execute("PRAGMA mmap_size").fetchone() in ((0,), None)
        assert db.getlimit(sqlite3.SQLITE_LIMIT_LENGTH) == 128 * 2**20


@pytest.mark.parametrize("ending", ["", "-wal", "-shm"])
@pytest.mark.parametrize("write", [True, False])
def test_a_pipe_is_no_store_and_is_not_waited_for(path, ending, write):
    place = path.with_name(path.name + ending)
    place.unlink(missing_ok=True)
    os.mkfifo(place)

    with pytest.raises(StoreError, match=r"plain file, got a pipe|no store at"):
        Store.open(path, write=write)


def chunk(scans, channels, body):
    return struct.pack("<BBHI", 1, 1, channels, scans) + body


@pytest.mark.parametrize(
    "hostile",
    [
        chunk(2**32 - 1, 0xFFFF, zstandard.ZstdCompressor().compress(b"x")),
        chunk(200_000, 32, zstandard.ZstdCompressor().compress(bytes(8))),
        # a frame that says it holds a terabyte: mark, descriptor, 8 bytes of size (RFC 8878, 3.1.1), an empty block
        chunk(1, 1, b"\x28\xb5\x2f\xfd\xe0" + struct.pack("<Q", 2**40) + b"\x01\x00\x00"),
        # one that does not say how much it holds: none of ours
        chunk(1, 1, zstandard.ZstdCompressor(write_content_size=False).compress(bytes(19))),
    ],
)
def test_a_chunk_that_announces_more_than_it_holds_takes_no_memory(hostile):
    with pytest.raises(BadChunk, match="expected"):
        decode(hostile, source="board")


@pytest.mark.parametrize(("codec", "order"), [(2, 1), (1, 0), (1, 3)])
def test_a_chunk_of_another_layout_is_refused_by_name(codec, order):
    body = zstandard.ZstdCompressor().compress(bytes(19))

    with pytest.raises(BadChunk, match=f"order 1 or 2, got codec {codec} and order {order}"):
        decode(struct.pack("<BBHI", codec, order, 1, 1) + body, source="board")


@pytest.mark.parametrize("held", [bytes(18), bytes(20)])
def test_a_chunk_that_holds_less_or_more_than_it_says_is_refused(held):
    frame = bytearray(zstandard.ZstdCompressor().compress(held))
    assert frame[5] == len(held)  # the size in the frame's header, RFC 8878, 3.1.1.1
    frame[5] = 19

    with pytest.raises(BadChunk):
        decode(chunk(1, 1, bytes(frame)), source="board")


def test_a_file_is_not_mapped_into_memory_whatever_sqlite_was_built_with(path):
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA mmap_size = 65536").fetchone() in ((65536,), None)
    distrust(db)

    assert db.execute("PRAGMA mmap_size").fetchone() in ((0,), None)
    db.close()
