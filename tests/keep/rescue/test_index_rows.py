"""What the index of a damaged file lists, against SQLite's own."""

import sqlite3

import pytest

from daq.items import Notification
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.index_rows import INDICES, listed
from daq.keep.rescue.pages import Pages
from daq.keep.store import Store
from tests.faults.rescue import make
from tests.keep.jig import begin


@pytest.mark.parametrize("rows", [0, 1, 3000])
def test_an_index_lists_the_rows_sqlite_lists(tmp_path, rows):
    """By its own query; the largest has pages above others."""
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        session_id = begin(store)
        store.put(session_id, [Notification(1000 * i, "power", "2a63", b"x") for i in range(rows)])
    db = sqlite3.connect(path)
    expected = {row[0]: row[1:] for row in db.execute("SELECT id, session_id, received_us FROM notifications")}
    db.close()

    assert len(expected) == rows
    with Pages(path) as pages:
        root = found_in(pages).roots["notifications_by_time"]
        assert listed(pages, "notifications", root, expected) == expected
        assert listed(pages, "notifications", root, {*expected, 9999}) is None, "a row it lacks: not of this state"
        assert listed(pages, "notifications", None, ()) is None
        assert listed(pages, "chunks", root, ()) == (None if rows else {}), "records of another index"


def test_an_index_with_a_page_that_is_damaged_tells_nothing(tmp_path):
    path = tmp_path / "store.sqlite"
    make(path, 5)
    with Pages(path) as pages:
        found = found_in(pages)
        root = found.roots[INDICES["chunks"][0]]
        content = bytearray(path.read_bytes())
        child = int.from_bytes(pages.page(root)[8:12], "big")
    for at in (root, child):
        harmed = bytearray(content)
        harmed[(at - 1) * 4096 : (at - 1) * 4096 + 60] = bytes(60)
        path.write_bytes(harmed)
        with Pages(path) as pages:
            assert listed(pages, "chunks", root, found.places["chunks"]) is None


def test_an_index_out_of_order_tells_nothing(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        store.put(begin(store), [Notification(1000 * i, "power", "2a63", b"x") for i in range(10)])
    content = bytearray(path.read_bytes())
    with Pages(path) as pages:
        found = found_in(pages)
        root = found.roots["notifications_by_time"]
        assert len(listed(pages, "notifications", root, ())) == 10
    at = (root - 1) * 4096 + 8  # the places of its cells
    content[at : at + 4] = content[at + 2 : at + 4] + content[at : at + 2]
    path.write_bytes(content)

    with Pages(path) as pages:
        assert listed(pages, "notifications", root, ()) is None


@pytest.mark.timeout(10)
def test_pages_of_an_index_that_name_each_other_again_and_again_are_read_once(tmp_path):
    """Ten inner pages, each of which names the next one three hundred times: 300^9 ways to the last."""
    path = tmp_path / "store.sqlite"
    first, depth, cells = 2, 10, 300
    pages = [bytes(4096)]
    for level in range(depth):
        place = 4096 - 12
        cell = (first + level + 1).to_bytes(4, "big") + bytes([7, 4, 1, 1, 1, 5, 5, 5])  # and a record of three numbers
        head = bytes([0x02, 0, 0]) + cells.to_bytes(2, "big") + place.to_bytes(2, "big") + bytes(1)
        head += (first + level + 1).to_bytes(4, "big") + place.to_bytes(2, "big") * cells
        pages.append(head + bytes(place - len(head)) + cell)
    pages.append(bytes([0x0A]) + bytes(4095))
    path.write_bytes(b"".join(pages))

    with Pages(path) as damaged:
        assert listed(damaged, "notifications", first, ()) is None
