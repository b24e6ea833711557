import sqlite3

import pytest

from daq.keep.errors import StoreBusy, StoreError, StoreUnwritable
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from tests.faults.disk import largest_file
from tests.keep.jig import concatenated, recorded, same


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


def raw(path):
    with Store.open(path, write=False) as store:
        return concatenated([item for session in store.sessions() for item in store.read_items(session.id)])


def test_a_backup_made_in_use_holds_what_was_acknowledged(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 3)
        found = back_up(store, tmp_path / "copy.sqlite")
        recorded(store, 1)

    assert (found.scans, found.problems) == (300, ())
    assert len(raw(tmp_path / "copy.sqlite")) == 300


def test_a_backup_beside_the_daemon_is_noted_too(path, tmp_path):
    with Store.open(path) as daemons, Store.open(path, write=False) as beside:
        recorded(daemons, 1)
        back_up(beside, tmp_path / "copy.sqlite")
        recorded(daemons, 1)

        with daemons.reading() as db:
            assert db.execute("SELECT path FROM copies").fetchall() == [(str(tmp_path / "copy.sqlite"),)]
    assert len(raw(path)) == 200


def test_a_backup_is_one_file_and_overwrites_nothing(path, tmp_path):
    target = tmp_path / "elsewhere" / "copy.sqlite"
    target.parent.mkdir()
    with Store.open(path) as store:
        recorded(store, 1)
        back_up(store, target)

        with pytest.raises(StoreError, match=r"copy\.sqlite exists: give a new file name"):
            back_up(store, target)
    assert list(target.parent.iterdir()) == [target]


def test_a_backup_of_a_damaged_store_is_refused_with_the_reason(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 2)
        with store.writing() as db:
            db.execute("UPDATE chunks SET crc = 0 WHERE id = 2")

        with pytest.raises(StoreError, match="is not sound: chunk 2 of 'jig'"):
            back_up(store, tmp_path / "copy.sqlite")
    assert not (tmp_path / "copy.sqlite").exists()


def test_a_copy_that_its_disk_has_no_room_for_is_told_of_that_disk_and_does_not_stay_on_it(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 60)
    size = path.stat().st_size
    said = r"the disk of .*/copy\.sqlite\.partial"
    with Store.open(path) as store, largest_file(size // 2), pytest.raises(StoreUnwritable, match=said):
        back_up(store, tmp_path / "copy.sqlite")

    assert not list(tmp_path.glob("copy*"))
    assert len(raw(path)) == 6000


def test_restoring_brings_back_the_same_bits_and_keeps_what_was_there(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 2)
        back_up(store, tmp_path / "copy.sqlite")
    wanted = raw(path)
    path.unlink()
    with Store.open(path) as store:
        recorded(store, 5)

    restore(tmp_path / "copy.sqlite", path)
    assert same(raw(path), wanted)
    assert len(raw(path.with_name("store.sqlite.1.before-restore"))) == 500


def test_a_damaged_store_can_be_replaced(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 2)
        back_up(store, tmp_path / "copy.sqlite")
    path.write_bytes(path.read_bytes()[:5000])

    restore(tmp_path / "copy.sqlite", path)
    assert len(raw(path)) == 200


def cut_off(path):
    path.write_bytes(path.read_bytes()[:5000])


def without_its_file(path):
    path.with_name(path.name + "-wal").write_bytes(bytes(5000))
    path.unlink()


def with_a_damaged_copy(path):
    with sqlite3.connect(path) as db:
        db.execute("UPDATE copies SET path = '/elsewhere'")
    db.close()


def with_a_damaged_list(path):
    with sqlite3.connect(path) as db:
        db.execute("UPDATE copied_sweeps SET crc = 0")
    db.close()


def with_a_damaged_log(path):
    """A daemon that was killed has left one. SQLite stops at the damage without a word, and the file reads well."""
    log = path.with_name(path.name + "-wal")
    with Store.open(path) as store:
        recorded(store, 3)
        left, content = path.read_bytes(), bytearray(log.read_bytes())
    content[len(content) // 2] ^= 4
    path.write_bytes(left)
    log.write_bytes(content)


@pytest.mark.parametrize(
    ("harmed", "tells"),
    [
        (cut_off, True),
        (without_its_file, True),
        (with_a_damaged_copy, True),
        (with_a_damaged_list, True),
        (with_a_damaged_log, True),
        (lambda _: None, False),
        (lambda path: path.unlink(), False),
    ],
)
def test_a_store_replaced_whose_list_of_copies_cannot_be_read_is_told(path, tmp_path, harmed, tells):
    with Store.open(path) as store:
        store.begin_sweep(recorded(store, 2), from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration={})
        back_up(store, tmp_path / "copy.sqlite")
    harmed(path)
    told = []
    restore(tmp_path / "copy.sqlite", path, told=told.append)

    aside = path.with_name("store.sqlite.1.before-restore")
    assert told == tells * [
        "which exports and backups were made from the store that was here cannot be read in it, so neither forgetting "
        "a client nor withdrawing a consent will name them: look for them yourself, or in what foreaft salvage makes "
        f"of {aside}"
    ]


def test_a_store_in_use_is_not_replaced(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 1)
        back_up(store, tmp_path / "copy.sqlite")

        with pytest.raises(StoreBusy):
            restore(tmp_path / "copy.sqlite", path)
        recorded(store, 1)
    assert len(raw(path)) == 200


def test_an_unsound_backup_replaces_nothing(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 1)
        back_up(store, tmp_path / "copy.sqlite")
    with sqlite3.connect(tmp_path / "copy.sqlite") as db:
        db.execute("UPDATE chunks SET crc = 0")
    db.close()

    with pytest.raises(StoreError, match=r"is not sound: chunk 1 .*store\.sqlite is as it was"):
        restore(tmp_path / "copy.sqlite", path)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["copy.sqlite", "store.sqlite", "store.sqlite.lock"]


def test_a_backup_never_writes_through_a_link_that_somebody_else_has_put_there(path, tmp_path, monkeypatch):
    """As in a folder where everybody may write, between the look and the making."""
    (tmp_path / "precious").write_bytes(b"precious")
    (tmp_path / "copy.sqlite.partial").symlink_to(tmp_path / "precious")
    with Store.open(path) as store:
        recorded(store, 1)
        monkeypatch.setattr(type(path), "unlink", lambda *_, **__: None)
        with pytest.raises(StoreError, match="no file can be made in"):
            back_up(store, tmp_path / "copy.sqlite")
    assert (tmp_path / "precious").read_bytes() == b"precious"


def test_a_store_behind_a_link_is_restored_where_it_is(path, tmp_path):
    with Store.open(path) as store:
        recorded(store, 2)
        back_up(store, tmp_path / "copy.sqlite")
        recorded(store, 1)
    link = tmp_path / "elsewhere" / "link.sqlite"
    link.parent.mkdir()
    link.symlink_to(path)

    restore(tmp_path / "copy.sqlite", link)
    assert len(raw(path)) == len(raw(link)) == 200
    assert len(raw(path.with_name("store.sqlite.1.before-restore"))) == 300
