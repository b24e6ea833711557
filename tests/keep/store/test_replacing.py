"""A restore that is killed between its renames: one of both stores is there, whole, and the other is kept."""

import os
import shutil
import signal
import warnings

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.errors import StoreError
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from daq.keep.store.verify import verify
from tests.keep.jig import concatenated, recorded

OLD, NEW = 300, 200
"""Scans of the store that is there, a third of them in its log alone, and of the backup."""


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The folder that a power cut leaves: a store with its log; and a backup of another."""
    made = tmp_path_factory.mktemp("made")
    with Store.open(made / "other.sqlite") as store:
        recorded(store, 2)
        back_up(store, made / "copy.sqlite")
    with Store.open(made / "running.sqlite") as store:
        recorded(store, 2)
        with store.reading() as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        recorded(store, 1)
        for ending in ("", "-wal"):
            shutil.copy(made / f"running.sqlite{ending}", made / f"store.sqlite{ending}")
    return made


@pytest.fixture
def path(both, tmp_path):
    for name in ("store.sqlite", "store.sqlite-wal", "copy.sqlite"):
        shutil.copy(both / name, tmp_path / name)
    return tmp_path / "store.sqlite"


def killed(path, at, *, after):
    """Restores in a process that is killed just before, or just after, its so-manieth rename; whether it was."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of threads in libraries: the child uses none of them
        child = os.fork()
    if child == 0:
        done, rename = 0, os.replace

        def replace(source, target):
            nonlocal done
            done += 1
            if done == at and not after:
                os.kill(os.getpid(), signal.SIGKILL)
            try:
                rename(source, target)
            finally:
                if done == at:
                    os.kill(os.getpid(), signal.SIGKILL)

        os.replace = replace
        restore(path.with_name("copy.sqlite"), path)
        os._exit(0)
    return os.waitpid(child, 0)[1] == signal.SIGKILL


def scans(path, **how):
    with Store.open(path, **how) as store:
        assert verify(store).problems == ()
        return len(concatenated([item for one in store.sessions() for item in store.read_items(one.id)]))


def aside(path):
    return path.with_name("store.sqlite.1.before-restore")


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize("at", range(1, 7))
def test_after_a_kill_at_any_rename_one_of_both_is_there_and_the_other_kept(path, at, after, write):
    assert killed(path, at, after=after)

    found = scans(path, write=write)
    assert found == (OLD if (at, after) == (1, False) else NEW)
    if found == NEW:
        assert scans(aside(path)) == OLD
        with Store.open(path, write=False) as store, store.reading() as db:
            assert (str(aside(path)),) in db.execute("SELECT path FROM copies").fetchall()
    else:
        restore(path.with_name("copy.sqlite"), path)
    names = {one.name.removesuffix(".lock") for one in path.parent.iterdir()}
    assert names <= {"store.sqlite", "copy.sqlite", *(aside(path).name + ending for ending in ("", "-wal", "-shm"))} | {
        f"store.sqlite{ending}" for ending in ("-wal", "-shm")
    }


def test_a_restore_has_no_more_renames_than_are_killed_here(path):
    assert not killed(path, 7, after=False)
    assert scans(path) == NEW


def test_a_command_finds_the_store_although_its_file_is_not_there_yet(path):
    assert killed(path, 6, after=False)
    assert not path.exists()

    done = CliRunner().invoke(main, ["verify", "--store", str(path)])
    assert (done.exit_code, done.output.splitlines()[-1]) == (0, "all whole")


def test_another_restore_finishes_the_first_so_that_no_store_is_lost(path):
    assert killed(path, 4, after=True)
    restore(path.with_name("copy.sqlite"), path)

    assert scans(aside(path)) == OLD
    assert scans(path.with_name("store.sqlite.2.before-restore")) == NEW


def test_a_restore_that_was_killed_early_leaves_no_copy_of_anybodys_data(path):
    partial = path.with_name("store.sqlite.restoring")
    partial.write_bytes(b"half a store")
    Store.open(path).close()

    assert not partial.exists()


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_a_log_whose_store_was_deleted_is_not_replayed_into_the_one_that_is_set_aside(path, ending):
    left_over = aside(path).with_name(aside(path).name + ending)
    left_over.write_bytes(b"of another store")

    with pytest.raises(StoreError, match=rf"before-restore{ending} is left over from a store that was deleted"):
        restore(path.with_name("copy.sqlite"), path)
    assert scans(path) == OLD
    left_over.unlink()
    restore(path.with_name("copy.sqlite"), path)
    assert (scans(path), scans(aside(path))) == (NEW, OLD)


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_a_log_without_its_store_is_not_replayed_into_a_copy(path, tmp_path, ending):
    left_over = tmp_path / f"new.sqlite{ending}"
    shutil.copy(f"{path}-wal", left_over)
    with Store.open(path) as store, pytest.raises(StoreError, match=rf"new\.sqlite{ending} is left over"):
        back_up(store, tmp_path / "new.sqlite")
