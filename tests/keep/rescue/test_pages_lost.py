"""Pages that are lost, overwritten or of an earlier state are told; freed ones are none."""

import re
import sqlite3

import pytest

from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.pages import Pages
from daq.keep.store import Store
from tests.faults.damages import FRAME_HEADER, LOG_HEADER, PAGE
from tests.faults.rescue import harm, made_and_left
from tests.keep.rescue.losses import SWEEPS, salvaged, unlist_indices


def write_over(path, table, number, *, by):
    """The page of row `by` lies also where the page of row `number` was."""
    with Pages(path) as pages:
        places = found_in(pages).places[table]
        content, size = bytearray(path.read_bytes()), pages.size
    (gone, _), (other, _) = places[number], places[by]
    content[(gone - 1) * size : gone * size] = content[(other - 1) * size : other * size]
    path.write_bytes(content)


def forgotten(path):
    """A store whose first client, of four sweeps, was removed."""
    with Store.open(path) as store:
        forget(store, people.clients(store)[0].pseudonym)


def test_pages_that_removing_a_client_freed_are_no_loss_though_the_header_is_gone(path):
    forgotten(path)
    path.write_bytes(bytes(100) + path.read_bytes()[100:])
    found, losses = salvaged(path)

    assert (found.problems, losses) == ((), {5: ()})


def test_pages_of_zeros_that_nothing_explains_may_be_lost_and_sound_sweeps_are_not_marked(path):
    forgotten(path)
    content = bytearray(path.read_bytes())
    trunk = int.from_bytes(content[32:36], "big")
    for page in (1, trunk):
        at = (page - 1) * 4096
        content[at : at + (100 if page == 1 else 4096)] = bytes(100 if page == 1 else 4096)
    path.write_bytes(content)
    found, losses = salvaged(path)

    assert "with zeros only: free after a client was removed, or what was there is lost" in found.problems[0]
    assert losses == {5: ()}


def test_a_freed_page_on_which_a_copy_is_left_is_no_loss(path):
    """SQLite leaves what was on a freed page unless it is told not to (sqlite.org/pragma.html, secure_delete)."""
    forgotten(path)
    with Pages(path) as pages:
        ((page, _), *_) = found_in(pages).places["chunks"].values()
        freed = max(one for one in pages.free()[0] if len(pages.page(one)) == PAGE and not any(pages.page(one)))
    content = bytearray(path.read_bytes())
    content[(freed - 1) * PAGE : freed * PAGE] = content[(page - 1) * PAGE : page * PAGE]
    path.write_bytes(content)
    found, losses = salvaged(path)

    assert (found.problems, losses) == ((), {5: ()})


@pytest.mark.parametrize(("children", "expected"), [((7, 8), 9), ((7, 9), 2), ((7, 0), 2), ((7, 1 << 30), 9)])
def test_what_a_page_above_others_names_counts_if_sqlite_could_have_made_it(tmp_path, children, expected):
    """Each page below it once (sqlite.org/fileformat2.html, section 1.6), and none more than a thousand times as far as
    the file reaches; there are two pages, and no header."""
    path, last = tmp_path / "store.sqlite", 9
    places = [PAGE - 5 * (i + 1) for i in range(len(children))]
    head = bytes([0x05, 0, 0, 0, len(children)]) + places[-1].to_bytes(2, "big") + bytes(1) + last.to_bytes(4, "big")
    page = bytearray(head + b"".join(at.to_bytes(2, "big") for at in places)).ljust(PAGE, bytes(1))
    for i, (number, at) in enumerate(zip(children, places, strict=True)):
        page[at : at + 5] = number.to_bytes(4, "big") + bytes([i + 1])
    path.write_bytes(bytes(PAGE) + page)

    with Pages(path) as pages:
        assert found_in(pages).expected == expected


@pytest.mark.parametrize("part", [0.4, 0.7, 0.95])
@pytest.mark.parametrize("end", ["cut off", "zeros"])
@pytest.mark.parametrize("header", [16, 100, 4096])
def test_without_a_header_pages_that_others_lead_to_are_missed_at_the_end(path, five_sweeps, header, end, part):
    length = int(len(five_sweeps) * part) // 4096 * 4096
    path.write_bytes(
        bytes(header) + five_sweeps[header:length] + (b"" if end == "cut off" else bytes(len(five_sweeps) - length))
    )
    found, losses = salvaged(path)

    if end == "cut off":
        (said,) = [one for one in found.problems if one.startswith("the file is cut off: ")]
        there, least = map(int, re.findall(r"\d+", said))
        assert there == length // 4096 < least <= len(five_sweeps) // 4096
        assert ("of at least" in said) == (header > 16), "the rest of the header says how many there were"
    else:
        assert any("nothing can be read on " in one for one in found.problems)
    scans = chunks_left(path.with_name("new.sqlite"))
    lacking = {number for number in losses if scans[number] < 70}
    told = {number for number, phrases in losses.items() if phrases}
    assert sorted(losses) == [1, 2, 3, 4, 5]
    assert lacking <= told <= lacking | {min(lacking) - 1}, "how long after its last scan a sweep ended is not known"
    assert 5 in lacking


def chunks_left(path):
    """How many of the seventy of each sweep."""
    db = sqlite3.connect(path)
    found = {
        number: db.execute(
            "SELECT count(*) FROM chunks JOIN sweeps ON sweeps.session_id = chunks.session_id "
            "WHERE sweeps.id = ? AND first_us BETWEEN from_us AND to_us",
            (number,),
        ).fetchone()[0]
        for number in range(1, SWEEPS + 1)
    }
    db.close()
    return found


def test_a_page_of_zeros_that_others_lead_to_is_lost_though_the_list_of_free_ones_is_broken(path):
    forgotten(path)
    with Pages(path) as pages:
        ((page, _), *_) = found_in(pages).places["chunks"].values()
        content = bytearray(path.read_bytes())
    content[36:40] = bytes([0, 0, 1, 0])  # how many free ones the header counts
    content[(page - 1) * 4096 : page * 4096] = bytes(4096)
    path.write_bytes(content)
    found, losses = salvaged(path)

    assert "nothing can be read on 1 page of 4096 bytes" in found.problems
    assert losses[5] != ()


@pytest.mark.parametrize("indices", [True, False], ids=["listed", "not listed"])
def test_a_page_that_another_was_written_over_is_lost_though_every_page_is_sound(path, indices):
    if not indices:
        unlist_indices(path)
    write_over(path, "chunks", 30, by=200)
    found, losses = salvaged(path)

    assert "1 page with a copy of another; what should be there is lost" in found.problems
    assert losses[1][0].startswith("scans of 'board' from ")
    assert [losses[number] for number in (2, 4)] == [(), ()]


def test_the_page_of_what_was_received_last_may_have_been_written_over(path):
    """No number follows, and no index tells."""
    unlist_indices(path)
    write_over(path, "notifications", 350, by=100)
    _, losses = salvaged(path)

    assert [sum("sensors" in phrase for phrase in losses[number]) for number in range(1, 5)] == [0, 0, 0, 0]
    assert sum("sensors" in phrase for phrase in losses[5]) == 1


def test_a_row_that_the_index_lists_is_missed_where_nothing_is_damaged(path, five_sweeps):
    """The page that held it last is there as it was before, as after a write that never reached the disk."""
    with Pages(path) as pages:
        (page, _) = found_in(pages).places["notifications"][100]
    before = path.with_name("before.sqlite")
    before.write_bytes(five_sweeps)
    harm(before, "PRAGMA secure_delete = OFF", "DELETE FROM notifications WHERE id = 100")
    content = bytearray(path.read_bytes())
    content[(page - 1) * 4096 : page * 4096] = before.read_bytes()[(page - 1) * 4096 : page * 4096]
    path.write_bytes(content)
    found, losses = salvaged(path)

    assert found.problems[0].startswith("session 1 has lost 1 notification of sensors from ")
    assert sum(map(len, losses.values())) == 1


@pytest.mark.parametrize("index", ["notifications_by_time", None], ids=["and of an index", "the index is whole"])
def test_pages_of_an_earlier_state_are_a_loss_though_every_page_is_sound(tmp_path, index):
    """A disk that says it has written, and has not, leaves what was there before."""
    path = tmp_path / "store.sqlite"
    content, (_, log) = made_and_left(path, 2)
    with Pages(path) as pages:
        found = found_in(pages)
    stale, begins = bytearray(content), range(LOG_HEADER, len(log), FRAME_HEADER + PAGE)
    for number in (found.places["notifications"][70][0], *([found.roots[index]] if index else [])):
        first = next(at for at in begins if int.from_bytes(log[at : at + 4], "big") == number) + FRAME_HEADER
        stale[(number - 1) * PAGE : number * PAGE] = log[first : first + PAGE]
    path.write_bytes(stale)
    found, losses = salvaged(path)

    assert any("notifications of sensors from" in phrase for phrase in losses[1])
    assert any("notifications of sensors from" in problem for problem in found.problems)


@pytest.mark.parametrize("harmed", [True, False])
def test_a_sweep_that_went_on_when_no_scan_follows_is_told_where_page_and_index_are_equally_old(path, harmed):
    """Both are sound, and no number follows: only the sweep's own end tells."""
    if harmed:
        end = "SELECT max(last_us) FROM chunks WHERE session_id = 2"
        harm(path, f"DELETE FROM chunks WHERE session_id = 2 AND last_us > ({end}) - 4000000")
    found, losses = salvaged(path)

    said = [one for one in found.problems if "no scan of 'board' follows" in one]
    assert len(said) == len(found.problems) == harmed
    assert all("though sweep 5 went on until 71.000 s: it was silent, or what it sent is lost" in one for one in said)
    assert set(losses.values()) == {()}, "it may have been silent"
