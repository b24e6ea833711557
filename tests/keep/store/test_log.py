"""A log that a crash has left: SQLite replays it as far as it is whole, and not a word is said of the rest."""

import shutil
import sqlite3
import struct

import numpy as np
import pytest

from daq.keep.errors import StoreDamaged
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.log import check_log, index_of, log_of, read_log
from daq.keep.store.log_count import frames_written
from tests.keep.jig import recorded

FRAME = 24 + 4096
SECONDS = 5


@pytest.fixture
def left(tmp_path):
    """What a killed daemon leaves: a store whose log nobody has emptied; its path and its log's."""
    path = tmp_path / "left" / "store.sqlite"
    path.parent.mkdir()
    log = path.with_name(path.name + "-wal")
    with Store.open(tmp_path / "store.sqlite") as store:
        recorded(store, SECONDS)
        path.write_bytes((tmp_path / "store.sqlite").read_bytes())
        log.write_bytes((tmp_path / "store.sqlite-wal").read_bytes())
    return path, log


@pytest.fixture
def killed(tmp_path):
    """The same with SQLite's index of the log, which a kill leaves too."""
    path = tmp_path / "killed" / "store.sqlite"
    path.parent.mkdir()
    with Store.open(tmp_path / "running.sqlite") as store:
        recorded(store, SECONDS)
        for ending in ("", "-wal", "-shm"):
            shutil.copyfile(tmp_path / f"running.sqlite{ending}", path.with_name(path.name + ending))
    return path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")


def cut_where_a_transaction_ends(log, back):
    """So many transactions before the last; how many frames that costs."""
    with log.open("rb") as file:
        commits = np.flatnonzero(read_log(file).commit)
    frames = int(commits[-1 - back]) + 1
    lost = (log.stat().st_size - 32) // FRAME - frames
    log.write_bytes(log.read_bytes()[: 32 + frames * FRAME])
    return lost


@pytest.mark.parametrize("write", [True, False])
def test_a_log_cut_off_where_a_transaction_ends_is_refused_by_its_index(killed, tmp_path, write):
    path, log, index = killed
    lost = cut_where_a_transaction_ends(log, 2)
    before = log.read_bytes(), index.read_bytes()

    with pytest.raises(StoreDamaged, match=rf"-wal lacks {lost} pages of those written to it: keep it with the store"):
        Store.open(path, write=write)
    assert (log.read_bytes(), index.read_bytes()) == before
    found = salvage(path, tmp_path / "new.sqlite")
    assert found.problems[0] == f"the log lacks {lost} pages of those written to it, and what was there is lost"
    assert 0 < chunks(tmp_path / "new.sqlite") < SECONDS


def test_whole_frames_gone_from_within_a_log_are_missed_by_its_index(killed, tmp_path):
    path, log, _ = killed
    content = log.read_bytes()
    at = 32 + FRAME * (len(content) // FRAME // 2)
    log.write_bytes(content[:at] + content[at + 3 * FRAME :])

    found = salvage(path, tmp_path / "new.sqlite")
    assert found.problems[0] == "the log lacks 3 pages of those written to it, and what was there is lost"


def test_a_log_that_is_whole_agrees_with_its_index(killed):
    path, _, _ = killed

    assert chunks(path) == SECONDS


@pytest.mark.parametrize(
    ("at", "sums_agree"), [(0, True), (17, False), (32, True)], ids=["another version", "a bit", "of another log"]
)
def test_an_index_that_is_not_as_it_was_written_or_of_another_log_tells_nothing(killed, at, sums_agree):
    path, log, index = killed
    cut_where_a_transaction_ends(log, 1)
    content = bytearray(index.read_bytes())
    content[at] ^= 4
    if sums_agree:
        content[40:48] = struct.pack("=II", *summed(content[:40]))
    index.write_bytes(content)

    assert frames_written(log, index) == 0
    assert chunks(path) < SECONDS


@pytest.mark.parametrize("length", [0, 50, 99, None])
def test_an_index_that_is_short_or_gone_tells_nothing(killed, length):
    path, log, index = killed
    cut_where_a_transaction_ends(log, 1)
    index.write_bytes(index.read_bytes()[:length])
    if length is None:
        index.unlink()

    assert chunks(path) < SECONDS


def test_an_index_whose_writer_was_ended_between_its_two_copies_tells_what_the_first_says(killed):
    _, log, index = killed
    written = frames_written(log, index)
    content = bytearray(index.read_bytes())
    content[48:96] = bytes(48)
    index.write_bytes(content)

    assert frames_written(log, index) == written > 0


def summed(content):
    """SQLite's checksum, sqlite.org/fileformat2.html, section 4.2."""
    s0 = s1 = 0
    for x0, x1 in struct.iter_unpack("=II", content):
        s0 = (s0 + x0 + s1) & 0xFFFFFFFF
        s1 = (s1 + x1 + s0) & 0xFFFFFFFF
    return s0, s1


def test_frames_that_the_store_has_by_now_are_not_missed(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        recorded(store, SECONDS)
        assert frames_written(log_of(path), index_of(path)) > 0
        with store.reading() as db:
            db.execute("PRAGMA wal_checkpoint(PASSIVE)")
        assert frames_written(log_of(path), index_of(path)) == 0


def harmed(log, at, length=1):
    content = bytearray(log.read_bytes())
    content[at : at + length] = bytes(byte ^ 4 for byte in content[at : at + length])
    log.write_bytes(content)


def chunks(path):
    with Store.open(path, write=False) as store, store.reading() as db:
        return db.execute("SELECT count(*) FROM chunks").fetchone()[0]


@pytest.mark.parametrize(("at", "length"), [(12, 1), (20, 1), (32 + 1, 1), (32 + 10, 1), (32 + 2000, 1), (32, FRAME)])
@pytest.mark.parametrize("write", [True, False])
def test_a_log_damaged_before_its_end_is_refused_left_as_it_is_and_salvaged(left, tmp_path, at, length, write):
    path, log = left
    harmed(log, at, length)
    before = log.read_bytes()

    with pytest.raises(StoreDamaged, match=r"-wal is damaged, and \d+ transactions behind the damage would be lost"):
        Store.open(path, write=write)
    assert log.read_bytes() == before
    salvage(path, tmp_path / "new.sqlite")
    assert chunks(tmp_path / "new.sqlite") == SECONDS


@pytest.mark.parametrize(
    ("within", "gone", "put"),
    [(1000, 1, b""), (1000, FRAME // 2, b""), (1000, 2 * FRAME + 7, b""), (1000, 0, b"x"), (0, 0, b"x")],
)
@pytest.mark.parametrize("write", [True, False])
def test_a_log_from_which_bytes_are_gone_is_refused_left_as_it_is_and_salvaged(
    left, tmp_path, within, gone, put, write
):
    """SQLite would find no frame behind them, and take none of it."""
    path, log = left
    content = log.read_bytes()
    at = 32 + FRAME * (len(content) // FRAME // 2) + within
    before = content[:at] + put + content[at + gone :]
    log.write_bytes(before)

    with pytest.raises(StoreDamaged, match=r"-wal is damaged, and \d+ transactions behind the damage would be lost"):
        Store.open(path, write=write)
    assert log.read_bytes() == before
    salvage(path, tmp_path / "new.sqlite")
    assert chunks(tmp_path / "new.sqlite") >= SECONDS - 1


@pytest.mark.parametrize("write", [True, False])
def test_a_log_of_which_nothing_can_be_read_is_refused_and_left_as_it_is(left, write):
    """Its first bytes are gone: SQLite would begin it anew."""
    path, log = left
    before = log.read_bytes()[10:]
    log.write_bytes(before)

    with pytest.raises(StoreDamaged, match="-wal is damaged, and nothing in it can be read"):
        Store.open(path, write=write)
    assert log.read_bytes() == before


def test_a_log_of_zeros_is_none(left):
    """As the disk gave it room, and nothing was written."""
    path, log = left
    with Store.open(path.with_name("new.sqlite")):
        pass
    path.write_bytes(path.with_name("new.sqlite").read_bytes())
    log.write_bytes(bytes(log.stat().st_size))

    assert chunks(path) == 0


def test_a_frame_that_is_lost_in_the_middle_ends_nothing_for_a_salvage(left, tmp_path):
    path, log = left
    content = bytearray(log.read_bytes())
    at = 32 + FRAME * (len(content) // FRAME // 2)
    content[at : at + FRAME] = bytes(FRAME)
    log.write_bytes(content)
    salvage(path, tmp_path / "new.sqlite")

    assert chunks(tmp_path / "new.sqlite") == SECONDS


def test_a_transaction_that_a_power_cut_tore_is_no_damage(left):
    path, log = left
    harmed(log, log.stat().st_size - 100)

    assert SECONDS - 1 <= chunks(path) <= SECONDS


@pytest.mark.parametrize("part", [0.8, 0.9, 1.0])
def test_a_log_that_ends_anywhere_is_replayed_as_far_as_it_goes(left, part):
    path, log = left
    log.write_bytes(log.read_bytes()[: int(part * log.stat().st_size)])

    assert 0 < chunks(path) <= SECONDS


def test_the_log_of_another_program_is_as_whole_to_us_as_to_sqlite(tmp_path):
    """In the byte order of this machine, with pages of another size, begun anew after a checkpoint."""
    path = tmp_path / "other.sqlite"
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA page_size = 1024")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("CREATE TABLE a (b)")
    for _ in range(30):
        db.execute("INSERT INTO a VALUES (randomblob(900))")
    db.execute("PRAGMA wal_checkpoint(RESTART)")
    db.execute("INSERT INTO a VALUES (randomblob(900))")
    check_log(path)
    db.execute("INSERT INTO a VALUES (randomblob(900))")
    harmed(path.with_name(path.name + "-wal"), 32 + 30)

    with pytest.raises(StoreDamaged, match="and 2 transactions"):
        check_log(path)
    db.close()
