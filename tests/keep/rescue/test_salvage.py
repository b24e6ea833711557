"""What a salvage brings back, and what it says of the rest."""

import os
from functools import partial

import numpy as np
import pytest

from daq.items import LOST, Event
from daq.keep.again.cut_off import close
from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people, visits
from daq.keep.clients.forgetting import forget
from daq.keep.errors import StoreBusy, StoreDamaged, StoreError, StoreFull, StoreNewer
from daq.keep.rescue import salvage as salvaging
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.pages import LEAF_OF_INDEX, Pages
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store, migrations
from daq.keep.store.backup import back_up
from daq.keep.store.checksums import row_crc
from daq.keep.store.lock import take_lock
from daq.keep.store.sessions import add_copy
from daq.keep.store.verify import verify
from daq.words import counted
from tests.bits import bits
from tests.faults.rescue import harm, make
from tests.keep.jig import concatenated, recorded


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """The bytes of a store of two sweeps in one visit, and what is computed of them."""
    path = tmp_path_factory.mktemp("sound") / "store.sqlite"
    content = make(path, 2)
    with Store.open(path, write=False) as store:
        return content, [recompute_stored(store, number) for number in (1, 2)], store.sweeps()


@pytest.fixture
def path(tmp_path, sound):
    (tmp_path / "store.sqlite").write_bytes(sound[0])
    return tmp_path / "store.sqlite"


def test_a_sound_store_is_brought_over_whole_and_nothing_is_said(path, tmp_path, sound):
    found = salvage(path, tmp_path / "new.sqlite")

    assert (found.problems, found.told, found.rebuilt) == ((), (), ())
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert new.sweeps() == sound[2]
        assert bits(recompute_stored(new, 2).onset) == bits(sound[1][1].onset)
        assert verify(new).problems == ()


def test_what_a_killed_salvage_left_is_not_added_to_and_another_one_is_not_disturbed(path, tmp_path, sound):
    left = tmp_path / ".new.sqlite.partial"
    salvage(path, left)  # as far as it can get without being given its name
    lock = take_lock(tmp_path / "new.sqlite")  # as another salvage does that goes on
    with pytest.raises(StoreBusy):
        salvage(path, tmp_path / "new.sqlite")
    os.close(lock)
    assert left.exists()

    salvage(path, tmp_path / "new.sqlite")
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert new.sweeps() == sound[2]
        assert verify(new).problems == ()
    assert not left.exists()


def test_nobody_else_can_begin_on_a_file_that_is_being_made(path, tmp_path, monkeypatch):
    twice, refused = salvaging.from_twins, []

    def meanwhile(found):
        for other in (Store.open, partial(salvage, path)):
            with pytest.raises(StoreBusy, match="is being written by process"):
                other(tmp_path / "new.sqlite")
            refused.append(other)
        return twice(found)

    monkeypatch.setattr(salvaging, "from_twins", meanwhile)
    salvage(path, tmp_path / "new.sqlite")

    assert len(refused) == 2
    assert not list(tmp_path.glob("*.partial*"))
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert verify(new).problems == ()


def test_a_file_made_while_the_damaged_one_was_read_is_not_overwritten(path, tmp_path, monkeypatch):
    read, target = salvaging.found_in, tmp_path / "new.sqlite"

    def meanwhile(pages):
        target.write_bytes(b"precious")
        return read(pages)

    monkeypatch.setattr(salvaging, "found_in", meanwhile)
    with pytest.raises(StoreError, match="nothing is overwritten"):
        salvage(path, target)
    assert target.read_bytes() == b"precious"


def test_a_salvage_that_cannot_begin_its_store_leaves_nothing(path, tmp_path, monkeypatch):
    def full(*_, **__):
        raise StoreFull("no room left")

    monkeypatch.setattr("daq.keep.store.file.migrate", full)
    before = {one.name for one in tmp_path.iterdir()}
    with pytest.raises(StoreFull):
        salvage(path, tmp_path / "new.sqlite")

    assert {one.name for one in tmp_path.iterdir()} == {*before, "new.sqlite.lock"}


def test_a_log_that_belongs_to_another_store_is_not_replayed_into_the_new_one(path, tmp_path):
    (tmp_path / "new.sqlite-wal").write_bytes(b"of another store")

    with pytest.raises(StoreError, match=r"new\.sqlite-wal is left over from another store"):
        salvage(path, tmp_path / "new.sqlite")


@pytest.mark.parametrize("table", ["sweeps", "sessions", "calibrations", "clients", "visits", "events", "sources"])
def test_a_lost_table_comes_back_from_the_twins(path, tmp_path, sound, table):
    harm(path, f"DELETE FROM {table}")
    found = salvage(path, tmp_path / "new.sqlite")

    assert found.problems == ()
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert new.sweeps() == sound[2]
        assert bits(recompute_stored(new, 2).onset) == bits(sound[1][1].onset)
        assert verify(new).problems == ()


def test_a_number_that_no_sweep_has_neither_fills_the_memory_nor_is_given(path, tmp_path):
    number = 2**62
    with Store.open(path) as store, store.writing() as db:
        row = store.results(1)[0]
        result = {"sweep_id": number, "kind": row.kind, "method": row.method, "made_utc": row.made_utc}
        content = db.execute("SELECT content FROM results WHERE id = ?", (row.id,)).fetchone()[0]
        crc = row_crc("results", {**result, "content": content})
    harm(
        path,
        f"UPDATE results SET sweep_id = {number}, crc = {crc} WHERE id = {row.id}",
        "DELETE FROM sweeps WHERE id = 2",
        "DELETE FROM twins WHERE of = 'sweeps' AND row_id = 2",
    )

    assert salvage(path, tmp_path / "new.sqlite").rebuilt == (2,)


def test_sweeps_lost_with_their_twins_are_rebuilt_from_the_events_that_began_them(path, tmp_path, sound):
    harm(path, "DROP TABLE sweeps", "DROP TABLE twins")
    found = salvage(path, tmp_path / "new.sqlite")

    assert found.rebuilt == (1, 2)
    assert "sweep 2 is rebuilt from the event that began it at 75.0 s of session 1" in found.told
    with Store.open(tmp_path / "new.sqlite") as new:
        for number in found.rebuilt:
            close(new, number)
        for was, now, before in zip(sound[2], new.sweeps(), sound[1], strict=True):
            assert (now.id, now.session_id, now.client_id, now.state) == (was.id, 1, 1, "finished")
            assert (now.rider, now.plan, now.calibration_id) == (was.rider, was.plan, was.calibration_id)
            found_again = recompute_stored(new, now.id)
            assert bits(found_again.onset) == bits(before.onset)
            assert next(one.content["onset_mm"] for one in new.results(now.id)) == before.onset.onset_mm
        assert [note.content for note in visits.notes(new, 1, "sweep")] == [{"sweep_id": 1}, {"sweep_id": 2}]


def test_a_store_cut_at_a_third_gives_its_sweeps_with_their_gaps(path, tmp_path, sound):
    path.write_bytes(sound[0][: int(len(sound[0]) * 0.75)])
    found = salvage(path, tmp_path / "new.sqlite")

    assert any("the file is cut off: " in problem for problem in found.problems)
    with Store.open(tmp_path / "new.sqlite") as new:
        assert [sweep.id for sweep in new.sweeps()] == [1, 2]
        scans = [item for sweep in (1, 2) for item in new.read_items(1)]
        assert 0 < found.scans < 14000
        assert any(isinstance(item, Event) and item.kind == LOST for item in scans)
        told = [recompute_stored(new, number).losses for number in (1, 2)]
        assert any(phrase.startswith("scans of 'board' from") for phrases in told for phrase in phrases)


@pytest.mark.parametrize("size", [16, 100])
def test_a_damaged_header_loses_nothing(path, tmp_path, sound, size):
    path.write_bytes(np.random.default_rng(5).bytes(size) + sound[0][size:])
    found = salvage(path, tmp_path / "new.sqlite")

    assert found.problems == ()
    assert found.told[0] == "the file's header was damaged; pages of 4096 bytes were found without it"
    header = (tmp_path / "new.sqlite").read_bytes()[:100]
    assert (header[:16], header[68:72], header[63]) == (b"SQLite format 3\0", b"Fore", len(migrations.STEPS))
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert new.sweeps() == sound[2]


def test_lost_scans_are_noted_in_the_sweep_they_are_missing_from(path, tmp_path, sound):
    harm(path, "UPDATE chunks SET bytes = zeroblob(length(bytes)) WHERE first_us BETWEEN 90000000 AND 92000000")
    found = salvage(path, tmp_path / "new.sqlite")

    (gap,) = [one for one in found.problems if one.startswith("session 1 has lost ")]
    assert gap.startswith("session 1 has lost scans of 'board' from 89.99")
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert recompute_stored(new, 1).losses == ()
        (said,) = recompute_stored(new, 2).losses
        answer = recompute_stored(new, 2).onset
    assert said.startswith("scans of 'board' from 89.99")
    assert answer.reasons[-1].startswith("some of what was received in this sweep is lost: scans of 'board' from 89.99")
    assert answer.least_squares_mm == pytest.approx(sound[1][1].onset.least_squares_mm, abs=1.0)


def test_lost_scans_at_the_beginning_of_a_session_are_noted_too(path, tmp_path):
    harm(path, "UPDATE chunks SET bytes = zeroblob(length(bytes)) WHERE first_us < 2900000")
    salvage(path, tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        (said,) = recompute_stored(new, 1).losses
    assert said.startswith("scans of 'board' from 0.0")
    assert 3.0 < float(said.split()[-2]) < 3.005, "the first scan left was taken at 3 s and arrived 1.5 to 4.5 ms later"


@pytest.mark.parametrize("bit", [1, 2, 4])
def test_a_page_that_says_it_holds_fewer_or_more_rows_gives_them_all(path, tmp_path, sound, bit):
    content = bytearray(sound[0])
    with Store.open(path, write=False) as store, store.reading() as db:
        (packed,) = db.execute("SELECT bytes FROM chunks WHERE first_us BETWEEN 29900000 AND 30100000").fetchone()
    count_at = content.find(packed) // 4096 * 4096 + 4
    fewer = bool(content[count_at] & bit)
    content[count_at] ^= bit
    path.write_bytes(content)
    found = salvage(path, tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert [bits(recompute_stored(new, n).onset) for n in (1, 2)] == [bits(one.onset) for one in sound[1]]
    if fewer:
        assert found.told == ("1 page with other rows than announced; all that can be read are taken",)
        assert found.problems == ()
    else:
        assert found.told == ()
        assert found.problems == (f"damaged and left out: {counted(bit, 'row')}",)  # where it points there is none


def test_what_is_left_stays_within_reach_when_what_it_belongs_to_is_lost_twice(path, tmp_path):
    harm(path, "DROP TABLE twins", *(f"DELETE FROM {table}" for table in ("sessions", "clients", "visits", "sources")))
    found = salvage(path, tmp_path / "new.sqlite")

    assert any("session 1: start, rig and calibration are lost" in problem for problem in found.problems)
    with Store.open(tmp_path / "new.sqlite") as new:
        pseudonym = new.sweeps()[0].rider["pseudonym"]
        assert [client.pseudonym for client in people.clients(new)] == [pseudonym]
        assert people.name_of(new, 1) == "Some Body 0"
        assert len(visits.notes(new, 1)) == 3
        assert len(concatenated(list(new.read_items(1)), "source 1")) == found.scans == 14000
        with pytest.raises(StoreDamaged, match="the rig file of session 1 is lost"):
            recompute_stored(new, 1)
        assert verify(new).problems == ()


def test_nothing_forgotten_comes_back(path, tmp_path):
    with Store.open(path) as store:
        pseudonym = people.clients(store)[0].pseudonym
        recorded(store, 5)
        forget(store, pseudonym)
    content = bytearray(path.read_bytes())
    for at in range(0, len(content), 4096):
        content[at : at + 12] = bytes(12)  # every page's own pointers
    path.write_bytes(content)
    salvage(path, tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert people.clients(new) == []
        assert new.sweeps() == []
    assert b"Some Body" not in (tmp_path / "new.sqlite").read_bytes()


@pytest.mark.parametrize("content", [b"", b"no store" * 900, bytes(20_000)])
def test_nothing_is_left_where_nothing_of_a_store_is_found(tmp_path, content):
    (tmp_path / "damaged").write_bytes(content)

    with pytest.raises(StoreDamaged, match="nothing of a store can be found in"):
        salvage(tmp_path / "damaged", tmp_path / "new.sqlite")
    assert [one.name for one in tmp_path.iterdir()] == ["damaged"]


def test_a_target_that_exists_is_left_alone(path, tmp_path):
    (tmp_path / "new.sqlite").write_bytes(b"precious")

    with pytest.raises(StoreError, match="nothing is overwritten"):
        salvage(path, tmp_path / "new.sqlite")
    assert (tmp_path / "new.sqlite").read_bytes() == b"precious"


def test_a_newer_store_is_left_to_the_newer_program(path, tmp_path):
    harm(path, "UPDATE _sqlite_migrations SET name = '99 from the future' WHERE name LIKE '1 %'")

    with pytest.raises(StoreNewer, match="written by a newer program"):
        salvage(path, tmp_path / "new.sqlite")


def test_a_row_without_a_checksum_in_a_store_that_has_them_is_not_what_was_written(path, tmp_path):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of the second", [2])
    harm(
        path,
        "PRAGMA writable_schema = ON",
        "UPDATE sqlite_schema SET sql = replace(sql, ', crc INTEGER', '') WHERE name = 'copied_sweeps'",
        "PRAGMA writable_schema = RESET",
        "DELETE FROM copied_sweeps",
        "INSERT INTO copied_sweeps VALUES (1, 1)",
    )
    found = salvage(path, tmp_path / "new.sqlite")

    assert any("which sweeps each backup and export holds is lost" in sentence for sentence in found.problems)
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT sweep_id FROM copied_sweeps ORDER BY sweep_id").fetchall() == [(1,), (2,)]


def test_a_store_with_exports_is_whole_after_a_salvage_and_can_be_backed_up(path, tmp_path):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of the first", [1])
    salvage(path, tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite") as new:
        assert verify(new).problems == ()
        back_up(new, tmp_path / "backup.sqlite")
        with new.reading() as db:
            assert db.execute("SELECT sweep_id FROM copied_sweeps").fetchall()[0] == (1,)


def test_a_list_of_copied_sweeps_that_is_not_what_was_written_names_each_copy_for_each_client(path, tmp_path):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of the second", [2])
    harm(path, "UPDATE copied_sweeps SET sweep_id = 1")
    found = salvage(path, tmp_path / "new.sqlite")

    assert any("which sweeps each backup and export holds is lost" in sentence for sentence in found.problems)
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT sweep_id FROM copied_sweeps ORDER BY sweep_id").fetchall() == [(1,), (2,)]


def test_a_sweep_that_is_rebuilt_may_be_in_each_copy_too(path, tmp_path):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of both", [1, 2])
    harm(path, "DROP TABLE sweeps", "DROP TABLE twins", "DROP TABLE copied_sweeps")

    assert salvage(path, tmp_path / "new.sqlite").rebuilt == (1, 2)
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT sweep_id FROM copied_sweeps ORDER BY sweep_id").fetchall() == [(1,), (2,)]


def test_a_sweep_that_is_rebuilt_under_a_new_number_may_be_in_each_copy_of_one_that_is_gone(path, tmp_path):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of both", [1, 2])
    harm(
        path,
        "DROP TABLE sweeps",
        "DROP TABLE twins",
        "UPDATE events SET kind = 'none' WHERE id = (SELECT max(id) FROM events WHERE kind = 'sweep-begun')",
    )

    assert salvage(path, tmp_path / "new.sqlite").rebuilt == (3,)
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert (1, 3) in db.execute("SELECT copy_id, sweep_id FROM copied_sweeps").fetchall()


def test_where_the_list_of_copied_sweeps_is_lost_each_copy_is_named_for_each_client(path, tmp_path, sound):
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "lost", [1])
    harm(path, "DROP TABLE copied_sweeps")
    salvage(path, tmp_path / "new.sqlite")

    with Store.open(tmp_path / "new.sqlite") as new:
        gone = forget(new, people.clients(new)[0].pseudonym)
    assert gone.exports == (tmp_path / "lost",)


def test_an_export_that_the_list_of_copied_sweeps_does_not_name_is_named_for_each_client(path, tmp_path):
    """A page without rows lies where the list was: of another index, or of an earlier state. It is sound by itself."""
    with Store.open(path) as store, store.writing() as db:
        add_copy(db, "export", tmp_path / "of the first", [1])
    with Pages(path) as pages:
        root, size, content = found_in(pages).roots["copied_sweeps"], pages.size, bytearray(path.read_bytes())
    content[(root - 1) * size : root * size] = bytes([LEAF_OF_INDEX, 0, 0, 0, 0, size >> 8, 0]) + bytes(size - 7)
    path.write_bytes(content)
    found = salvage(path, tmp_path / "new.sqlite")

    assert found.problems == (
        "which sweeps 1 export held is lost: foreaft forget names each for every client; look into them before you "
        "delete one",
    )
    with Store.open(tmp_path / "new.sqlite") as new:
        gone = forget(new, people.clients(new)[0].pseudonym)
    assert gone.exports == (tmp_path / "of the first",)
