import sqlite3

import pytest

from daq.keep.errors import StoreBusy, StoreError, StoreReadOnly
from daq.keep.store import Store, file
from daq.keep.store.backup import back_up, restore
from tests.faults.kill import start_writer
from tests.keep.jig import begin, concatenated, recorded, second_of_session


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


def test_a_second_daemon_is_told_which_process_has_the_store_and_may_have_it_when_that_is_killed(path):
    writer = start_writer(path)
    assert writer.stdout is not None
    writer.stdout.readline()
    try:
        with pytest.raises(StoreBusy, match=f"is being written by process {writer.pid}: stop it"):
            Store.open(path)
    finally:
        writer.kill()
        writer.wait()
        writer.stdout.close()

    with Store.open(path) as store:
        assert len(concatenated(list(store.read_items(1)))) >= 100


def test_another_program_that_holds_the_file_costs_a_retry_and_no_data(path, monkeypatch):
    monkeypatch.setattr(file, "BUSY_S", 0.05)
    with Store.open(path) as store:
        session_id = begin(store)
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusy, match="is locked by another program: close it and try again"):
            store.put(session_id, second_of_session(0))
        other.execute("ROLLBACK")
        other.close()
        store.put(session_id, second_of_session(0))

        assert len(concatenated(list(store.read_items(session_id)))) == 100


def test_a_store_under_another_name_is_the_same_store(tmp_path):
    path, link = tmp_path / "store.sqlite", tmp_path / "link.sqlite"
    link.symlink_to(path)
    with Store.open(path) as store:
        recorded(store, 1)
        with pytest.raises(StoreBusy, match=r"store\.sqlite is being written by process"):
            Store.open(link)
        with Store.open(link, write=False) as read:
            assert len(read.sessions()) == 1


def test_a_store_with_a_second_name_is_written_under_neither_and_a_restored_copy_has_one(tmp_path):
    path, second = tmp_path / "store.sqlite", tmp_path / "second.sqlite"
    with Store.open(path) as store:
        recorded(store, 1)
    second.hardlink_to(path)

    for name in (path, second):
        with pytest.raises(StoreReadOnly, match=r"has another name \(a hard link\)"):
            Store.open(name)
    with Store.open(path, write=False) as store:
        back_up(store, tmp_path / "copy.sqlite")
    assert [log.stat().st_size for log in tmp_path.glob("*-wal")] == [0]  # no note of the copy was written either
    restore(tmp_path / "copy.sqlite", path)
    with Store.open(path) as store:
        assert len(concatenated(list(store.read_items(1)))) == 100


def test_a_lock_that_is_a_link_empties_no_other_file(tmp_path):
    (tmp_path / "precious").write_bytes(b"precious")
    (tmp_path / "store.sqlite.lock").symlink_to(tmp_path / "precious")

    with pytest.raises(StoreError, match="cannot be opened"):
        Store.open(tmp_path / "store.sqlite")
    assert (tmp_path / "precious").read_bytes() == b"precious"
