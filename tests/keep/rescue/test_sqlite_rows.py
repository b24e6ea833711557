"""The reader of SQLite's pages against SQLite itself."""

import contextlib
import sqlite3
import struct
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.keep.rescue.belongs import as_row, columns_by_table
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.pages import HEADER_BYTES, Pages, _begins_like_one
from daq.keep.rescue.sqlite_rows import NoRecord, _varint, accounts_for_all, any_cells, cell_at, cell_places
from daq.keep.store import Store
from tests.keep.jig import begin

LEAF = 0x0D
VALUES = st.lists(
    st.none()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.text(max_size=50)
    | st.binary(max_size=9000),
    min_size=1,
    max_size=6,
)


def made(path, rows, page_size=4096):
    """A file of SQLite's with one table of these rows: {rowid: values}."""
    path.unlink(missing_ok=True)
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA page_size = {page_size}")
    columns = [f"c{i}" for i in range(6)]
    db.execute(f"CREATE TABLE t(id INTEGER PRIMARY KEY, {', '.join(columns)})")
    for number, values in rows.items():
        filled = [*values, *[None] * (6 - len(values))]
        db.execute(f"INSERT INTO t VALUES ({', '.join('?' * 7)})", (number, *filled))
    db.commit()
    db.close()


def read(path):
    """{rowid: values} of all cells of all leaf pages but the first, which holds the table of tables."""
    found = {}
    with Pages(path) as pages:
        for number in range(2, pages.count + 1):
            page = pages.page(number)
            if page[0] == LEAF:
                for place in cell_places(page, False):
                    cell = cell_at(page, place, pages.size, pages.page)
                    found[cell.number] = cell.values[1:]
    return found


@settings(max_examples=40)
@given(st.dictionaries(st.integers(-(2**63), 2**63 - 1), VALUES, max_size=8), st.sampled_from([512, 1024, 4096, 65536]))
def test_every_row_sqlite_wrote_is_read_the_same(tmp_path_factory, rows, page_size):
    path = tmp_path_factory.mktemp("sqlite") / "file"
    made(path, rows, page_size)
    found = read(path)

    assert found.keys() == rows.keys()
    for number, values in rows.items():
        assert [repr(float(one)) if isinstance(one, float) else one for one in found[number][: len(values)]] == [
            # SQLite keeps a float that is a whole number as an integer only in a column of type REAL
            repr(one) if isinstance(one, float) else one
            for one in values
        ]


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1), st.sampled_from([512, 4096, 65536]))
def test_every_byte_of_a_page_sqlite_wrote_and_deleted_from_is_accounted_for(tmp_path_factory, seed, page_size):
    """As its own integrity_check counts them; without one of its cells, no page is."""
    rng, path = np.random.default_rng(seed), tmp_path_factory.mktemp("sqlite") / "file"
    made(path, {number: [rng.bytes(int(rng.integers(0, 700)))] for number in range(60)}, page_size)
    db = sqlite3.connect(path)
    for number in rng.choice(60, 40, replace=False).tolist():
        if number % 2:
            db.execute("UPDATE t SET c0 = ? WHERE id = ?", (rng.bytes(int(rng.integers(0, 300))), number))
        else:
            db.execute("DELETE FROM t WHERE id = ?", (number,))
    db.commit()
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    db.close()
    with Pages(path) as pages:
        for number in set(range(1, pages.count + 1)) - pages.free()[0]:
            page, first = pages.page(number), number == 1
            if page[100 if first else 0] == LEAF:
                cells = [cell_at(page, at, pages.size, pages.page) for at in cell_places(page, first)]
                assert accounts_for_all(page, first, cells)
                assert not cells or not accounts_for_all(page, first, cells[1:])


def test_rows_are_found_on_a_page_whose_own_pointers_are_gone(tmp_path):
    made(tmp_path / "file", {number: [f"row {number}", b"x" * number] for number in range(1, 40)})
    with Pages(tmp_path / "file") as pages:
        page = bytearray(next(pages.page(n) for n in range(2, pages.count + 1) if pages.page(n)[0] == LEAF))
        page[: 8 + 2 * 39] = bytes(8 + 2 * 39)
        found = {cell.number: cell.values[1:3] for cell in any_cells(bytes(page), pages.size, pages.page)}

    assert {number: found[number] for number in range(1, 40)} == {
        number: (f"row {number}", b"x" * number) for number in range(1, 40)
    }


def places_one_by_one(page, page_of):
    found = []
    for place in range(len(page) - 4):
        with contextlib.suppress(NoRecord):
            cell_at(page, place, 512, page_of)
            if max(widths_of_lengths(page, place)) <= 4:
                found.append(place)
    return found


def widths_of_lengths(page, place):
    """In how many bytes the lengths of a row, of its header and of its columns are written: damage can lead one of
    SQLite's with bytes that add nothing to it."""
    _, number = _varint(page, place)
    _, header = _varint(page, number)
    length, at = _varint(page, header)
    widths = [number - place, at - header]
    while at < header + length:
        begin, at = at, _varint(page, at)[1]
        widths.append(at - begin)
    return widths


@given(
    st.dictionaries(st.integers(-(2**63), 2**63 - 1), VALUES, min_size=1, max_size=12),
    st.lists(st.tuples(st.integers(0, 511), st.binary(min_size=1, max_size=40)), max_size=3),
)
@settings(max_examples=40)
def test_what_may_begin_at_any_place_is_all_that_does(tmp_path_factory, rows, damages):
    path = tmp_path_factory.mktemp("places") / "file"
    made(path, rows, 512)
    with Pages(path) as pages:
        for number in range(2, pages.count + 1):
            page = bytearray(pages.page(number))
            for at, noise in damages:
                page[at : at + len(noise)] = noise
            page = bytes(page[:512])
            found = [cell.place for cell in any_cells(page, 512, pages.page)]
            assert found == places_one_by_one(page, pages.page)


@pytest.mark.parametrize("length", [100, 20_000, 3_000_000])
def test_a_row_is_found_however_long_its_length_is_written(tmp_path, length):
    made(tmp_path / "file", {7: [b"x" * length]})
    with Pages(tmp_path / "file") as pages:
        page = next(pages.page(n) for n in range(2, pages.count + 1) if pages.page(n)[0] == LEAF)

        assert [cell.number for cell in any_cells(page, pages.size, pages.page)] == [7]


def test_a_row_is_found_whatever_its_last_column_is(tmp_path):
    """The type of 8187 bytes is 2^14 + 2 (section 2.1), written 81 80 02."""
    lengths = [*range(120), 8187]
    made(tmp_path / "file", {n: [None] * 5 + [b"x" * length] for n, length in enumerate(lengths)})
    with Pages(tmp_path / "file") as pages:
        of_rows = [pages.page(n) for n in range(2, pages.count + 1) if pages.page(n)[0] == LEAF]
        found = [cell.number for page in of_rows for cell in any_cells(page, pages.size, pages.page)]

    assert set(found) >= set(range(len(lengths)))


def test_the_shortest_row_is_found_at_the_end_of_a_page():
    """Four bytes (section 2.1): length 2, number 1, a header of 2, and the constant 1, whose type is 9."""
    page = bytes(507) + bytes([2, 1, 2, 9, 0])

    assert [cell.values for cell in any_cells(page, 512, lambda _: b"")] == [(1,)]


@given(st.binary(max_size=600))
def test_noise_gives_a_cell_or_no_record_and_nothing_else(noise):
    for place in range(0, len(noise), 7):
        try:
            cell_at(noise, place, 512, lambda _: noise)
        except NoRecord:
            continue


@pytest.mark.parametrize("page_size", [512, 4096, 32768])
def test_the_size_of_pages_is_found_without_the_header(tmp_path, page_size):
    path = tmp_path / "file"
    rng = np.random.default_rng(1)
    made(path, {number: [rng.bytes(300)] for number in range(1, 2000)}, page_size)
    content = bytearray(path.read_bytes())
    content[:HEADER_BYTES] = bytes(HEADER_BYTES)
    path.write_bytes(content)

    with Pages(path) as pages:
        assert (pages.size, pages.header_sound) == (page_size, False)


def test_what_the_log_had_committed_lies_over_the_file_and_what_it_had_not_does_not(tmp_path):
    path = tmp_path / "file"
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("CREATE TABLE t(id INTEGER PRIMARY KEY, c)")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.execute("INSERT INTO t VALUES (1, 'committed')")
    committed = path.with_name("file-wal").read_bytes()
    db.execute("INSERT INTO t VALUES (2, 'half written')")
    whole = path.with_name("file-wal").read_bytes()
    for log, expected in ((whole, {1, 2}), (whole[: len(committed) + 24 + 2000], {1}), (committed, {1})):
        copy = tmp_path / "copy"
        copy.write_bytes(path.read_bytes())
        copy.with_name("copy-wal").write_bytes(log)
        assert read(copy).keys() == expected
    db.close()


def test_pages_that_are_free_are_not_taken_for_lost(tmp_path):
    path = tmp_path / "file"
    made(path, {number: [b"x" * 3000] for number in range(1, 200)})
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA secure_delete = ON")
    db.execute("DELETE FROM t WHERE id > 20")
    (free,) = db.execute("PRAGMA freelist_count").fetchone()
    db.close()

    with Pages(path) as pages:
        listed, whole = pages.free()
        assert len(listed) == free > 100
        assert whole
        assert found_in(pages).lost_pages == []


@pytest.mark.parametrize("page_size", [512, 4096])
def test_rows_about_the_length_that_just_fits_on_a_page_are_read_whole(tmp_path, page_size):
    rows = {
        number: [bytes([number]) * length]
        for number, length in enumerate(range(page_size - 80, page_size + 60), start=1)
    }
    made(tmp_path / "file", rows, page_size)

    assert {number: found[0] for number, found in read(tmp_path / "file").items()} == {
        number: values[0] for number, values in rows.items()
    }


def test_a_row_whose_next_page_is_cut_off_is_no_record(tmp_path):
    made(tmp_path / "file", {1: [b"x" * 9000]})
    with Pages(tmp_path / "file") as pages:
        page = next(pages.page(n) for n in range(2, pages.count + 1) if pages.page(n)[0] == LEAF)
        (place,) = cell_places(page, False)
        whole = cell_at(page, place, pages.size, pages.page)
        for lost in (1, 3, 4):
            with pytest.raises(NoRecord, match="breaks off"):
                cell_at(page[: len(page) - lost], place, pages.size, pages.page)

    assert whole.values[1] == b"x" * 9000


def test_a_page_whose_pointers_would_lie_over_its_cells_does_not_begin_like_one():
    """8 bytes of header and 2 for each cell: 100 cells cannot have the first of them at byte 150."""
    page = bytearray(4096)

    def begins(cells, first):
        struct.pack_into(">BHHH", page, 0, LEAF, 0, cells, first)
        return _begins_like_one(bytes(page), 0, 4096)

    assert begins(100, 208)
    assert not begins(100, 207)
    assert not begins(100, 5000)
    assert not begins(0, 4000)


@pytest.fixture
def session_row(tmp_path):
    """The columns of the table and the cell of its row."""
    path, columns = tmp_path / "s.sqlite", columns_by_table()["sessions"]
    with Store.open(path) as store:
        begin(store)
    with Pages(path) as pages:
        pages_of_it = (pages.page(number) for number in range(2, pages.count + 1))
        cells = [cell for page in pages_of_it for cell in any_cells(page, pages.size, pages.page)]
    return columns, next(cell for cell in cells if as_row("sessions", columns, cell) is not None)


def test_a_row_that_holds_its_own_number_as_a_value_is_of_no_table_of_ours(session_row):
    """SQLite leaves the column of the number empty; what fills it belongs to another program's table."""
    columns, ours = session_row

    assert as_row("sessions", columns, replace(ours, values=(ours.number, *ours.values[1:]))) is None


def test_a_row_that_ends_before_its_checksum_is_none(session_row):
    """Every session has had one; only columns that came later may be missing."""
    columns, ours = session_row
    checksum = [name for name, _, _ in columns].index("crc")

    assert as_row("sessions", columns, replace(ours, values=ours.values[: checksum + 1])) is not None
    assert as_row("sessions", columns, replace(ours, values=ours.values[:checksum])) is None
