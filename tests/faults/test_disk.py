import contextlib
import os
import warnings
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from daq.keep.errors import StoreFull, StoreReadOnly, StoreUnwritable
from daq.keep.store import Store
from tests.faults.disk import check_seconds, fill, largest_file
from tests.keep.jig import begin, concatenated, recorded, second_of_session

NOBODY = 65534


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


def as_somebody_else(action):
    """What action() returns or raises, as text, in a child process that is not root."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of threads in libraries: the child uses none of them
        child = os.fork()
    if child == 0:
        try:
            if os.getuid() == 0:
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            outcome = str(action())
        except BaseException as error:
            outcome = f"{type(error).__name__}: {error}"
        os.write(writing, outcome.encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        outcome = pipe.read()
    os.waitpid(child, 0)
    return outcome


@pytest.fixture
def frozen():
    """A store in a folder that nobody may write, and that the world may read (unlike the folders pytest makes)."""
    with TemporaryDirectory(prefix="foreaft-") as folder:
        path = Path(folder) / "store.sqlite"
        with Store.open(path) as store:
            recorded(store, 2)
        path.chmod(0o444)
        path.with_name(path.name + ".lock").unlink()
        path.parent.chmod(0o555)
        yield path
        path.parent.chmod(0o700)


@pytest.mark.parametrize("size", [400_000, 1_000_000])
def test_when_the_disk_refuses_nothing_acknowledged_is_lost_and_it_goes_on_later(path, size):
    with Store.open(path) as store:
        session_id = begin(store)
        with largest_file(size):
            second, refusal = fill(store, session_id, 0)
            for _ in range(3):
                with pytest.raises(StoreUnwritable):
                    store.put(session_id, second_of_session(second))
        assert "refuses to write" in str(refusal)
        assert "\n" not in str(refusal)
        assert len(concatenated(list(store.read_items(session_id)))) == 100 * second
        for later in range(second, second + 3):
            store.put(session_id, second_of_session(later))

    check_seconds(path, second + 3)


@pytest.mark.parametrize("size", range(0, 200_000, 12_288))
def test_a_store_that_a_full_disk_let_nobody_finish_is_made_when_there_is_room(path, size):
    with largest_file(size), contextlib.suppress(StoreUnwritable):
        Store.open(path).close()

    with Store.open(path) as store:
        recorded(store, 1)
    check_seconds(path, 1)


def test_a_full_disk_is_called_full(path):
    with Store.open(path) as store:
        session_id = begin(store)
        with store.reading() as db:
            db.execute("PRAGMA max_page_count = 60")  # SQLite's own limit; it answers as for ENOSPC, SQLITE_FULL
        second, refusal = fill(store, session_id, 0)

    assert isinstance(refusal, StoreFull)
    assert "no room left on the disk" in str(refusal)
    check_seconds(path, second)


def test_a_store_on_a_read_only_disk_cannot_be_written_and_says_so(frozen):
    outcome = as_somebody_else(lambda: Store.open(frozen))

    assert outcome.startswith("StoreReadOnly: ")
    assert "check the permissions of file and folder, and the mount" in outcome


def test_a_store_on_a_read_only_disk_can_be_read(frozen):
    def scans():
        with Store.open(frozen, write=False) as store:
            return len(concatenated(list(store.read_items(1))))

    assert as_somebody_else(scans) == "200"


def test_a_store_that_may_not_be_read_says_so(path):
    with Store.open(path) as store:
        recorded(store, 1)
    path.chmod(0o000)
    outcome = as_somebody_else(lambda: Store.open(path, write=False))

    assert outcome.startswith("StoreReadOnly: ")
    assert "cannot be read (Permission denied)" in outcome
    assert "\n" not in outcome


def test_writing_through_a_reader_is_refused(path):
    with Store.open(path) as store:
        session_id = recorded(store, 1)
    with Store.open(path, write=False) as reader, pytest.raises(StoreReadOnly, match="opened for reading only"):
        reader.end_session(session_id, ended_us=1)
