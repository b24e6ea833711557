"""A row whose number is damaged keeps its place among the others."""

import sqlite3

import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.numbers import put_right
from daq.keep.rescue.pages import LEAF, Pages
from daq.keep.rescue.salvage import salvage
from daq.keep.rescue.sqlite_rows import cell_at, cell_places
from daq.keep.rescue.twins import from_twins
from daq.keep.store import Store
from daq.keep.store.rows import insert_row
from daq.keep.store.verify import verify
from tests.bits import bits
from tests.faults.rescue import make

PAGE = 4096
KEPT = {
    "chunks": "id, session_id, first_us, bytes",
    "notifications": "id, session_id, received_us, payload",
    "results": "id, sweep_id, content",
    "events": "id, session_id, received_us, content",
    "consents": "id, client_id, kind, given",
    "clients": "id, pseudonym",
}


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """The bytes of a store of two sweeps whose client has withdrawn the consent given before, and their answers."""
    path = tmp_path_factory.mktemp("sound") / "store.sqlite"

    def withdraw(store):
        people.set_consent(store, people.clients(store)[0].id, "research", False)

    content = make(path, 2, withdraw)
    with Store.open(path, write=False) as store:
        return content, [recompute_stored(store, number).onset for number in (1, 2)]


def rows(path, table):
    db = sqlite3.connect(path)
    found = db.execute(f"SELECT {KEPT[table]} FROM {table} ORDER BY id").fetchall()
    db.close()
    return found


def renumber(path, table, number, bit):
    """Flips a bit of the last byte of a row's number (sqlite.org/fileformat2.html, section 1.6)."""
    db = sqlite3.connect(path)
    (values,) = db.execute(f"SELECT * FROM {table} WHERE id = ?", (number,)).fetchall()
    db.close()
    content = bytearray(path.read_bytes())
    with Pages(path) as pages:
        for page in pages.numbers:
            for place in cell_places(pages.page(page), page == 1) if pages.page(page)[0] == LEAF else ():
                cell = cell_at(pages.page(page), place, pages.size, pages.page)
                if (cell.number, cell.values[1:]) == (number, values[1:]):
                    at = (page - 1) * PAGE + place
                    while content[at] & 0x80:  # the row's length comes first
                        at += 1
                    at += 1
                    while content[at] & 0x80:
                        at += 1
                    content[at] ^= 1 << bit
    assert content != path.read_bytes()
    path.write_bytes(content)


@pytest.mark.parametrize(
    ("table", "number", "bit"),
    [
        ("chunks", 30, 3),  # 22, which there is
        ("chunks", 32, 6),  # 96, in the other sweep
        ("chunks", 140, 3),  # 132; the last one
        ("notifications", 38, 6),
        ("notifications", 128, 0),  # its number takes two bytes
        ("results", 2, 0),  # 3; the last one keeps the number it shows
        ("events", 4, 2),  # 0, which nobody has
        ("events", 1, 3),  # 9
        ("consents", 1, 1),  # 3: later than the one that withdrew it
        ("clients", 1, 2),
    ],
)
def test_a_flipped_bit_in_the_number_of_a_row_costs_no_row(tmp_path, sound, table, number, bit):
    path, new = tmp_path / "store.sqlite", tmp_path / "new.sqlite"
    path.write_bytes(sound[0])
    before = {one: rows(path, one) for one in KEPT}
    renumber(path, table, number, bit)
    found = salvage(path, new)

    after = {one: rows(new, one) for one in KEPT}
    if table == "results":
        assert [row[1:] for row in after[table]] == [row[1:] for row in before[table]]
    else:
        assert found.problems == ()
        assert len(found.told) == 1
        assert after == before
    with Store.open(new, write=False) as store:
        assert verify(store).problems == ()
        assert [bits(recompute_stored(store, one).onset) for one in (1, 2)] == [bits(one) for one in sound[1]]
        assert not people.consents(store, 1)["research"]


def test_of_two_equal_rows_one_is_lost_and_the_other_is_not_called_misnumbered(tmp_path):
    """Their checksums are the same."""
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store, store.writing() as db:
        client_id = insert_row(db, "clients", pseudonym="R-AAAAAA", since_utc="2026-03-01T09:00:00.000+00:00")
        for _ in range(2):
            insert_row(db, "consents", client_id=client_id, kind="research", given=1, at_utc="2026-03-01T09:00:00.000Z")
    with Pages(path) as pages:
        found = found_in(pages)
    kept = dict(found.rows["consents"])
    del found.rows["consents"][2]

    assert from_twins(found) == 1
    assert found.rows["consents"] == kept


def placed(*pages, copies=()):
    """By number, the place of its row: as many of the first page, then those of the second."""
    count, listed = 0, []
    for numbers in pages:
        listed.append([(number, (1, count + i)) for i, number in enumerate(numbers)])
        count += len(numbers)
    found = put_right(listed, lambda one, other: (one[1], other[1]) in copies)
    return {number: place for number, (_, place) in sorted(found.items())}


@pytest.mark.parametrize(
    ("pages", "right"),
    [
        (([1, 2, 3], [4, 5, 6]), {1: 0, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5}),
        (([4, 5, 6], [1, 2, 3]), {4: 0, 5: 1, 6: 2, 1: 3, 2: 4, 3: 5}),  # whichever page lies first
        (([1, 6, 3], [4, 5, 6]), {1: 0, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5}),
        (([1, 2, 7], [4, 5, 6]), {1: 0, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5}),  # the last of a page
        (([1, 2, 3], [0, 5, 6]), {1: 0, 2: 1, 3: 2, 4: 3, 5: 4, 6: 5}),  # the first of one
        (([10, 28, 30], [40, 50]), {10: 0, 28: 1, 30: 2, 40: 3, 50: 4}),  # rows between were removed
        (([10, 84, 30], [40, 50]), {10: 0, 20: 1, 30: 2, 40: 3, 50: 4}),
        (([10, 41, 12], [40, 50]), {10: 0, 11: 1, 12: 2, 40: 3, 50: 4}),
    ],
)
def test_the_number_between_its_neighbours(pages, right):
    assert placed(*pages) == dict(sorted(right.items()))


def test_a_copy_of_a_page_gives_no_new_numbers():
    same = {(2, 0), (3, 1), (0, 2), (1, 3)}

    assert set(placed([8, 9], [8, 9], copies=same)) == {8, 9}


def test_a_row_alone_on_its_page_gets_a_number_that_is_free():
    assert set(placed([1], [2], [2], [4], [5])) == {1, 2, 3, 4, 5}
    assert set(placed([1], [2], [2], [3])) == {1, 2, 3, 4}


def test_a_sound_file_has_no_row_of_a_damaged_number(tmp_path, sound):
    path = tmp_path / "store.sqlite"
    path.write_bytes(sound[0])
    with Pages(path) as pages:
        assert found_in(pages).misnumbered == 0
