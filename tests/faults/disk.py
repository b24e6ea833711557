"""A disk that takes no more: by the limit on file size, and by a real small file system."""

import contextlib
import resource
from collections.abc import Iterator
from pathlib import Path

from daq.keep.errors import StoreUnwritable
from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.keep.jig import begin, concatenated, same, second_of_session


@contextlib.contextmanager
def largest_file(size: int) -> Iterator[None]:
    """No file of this process may grow beyond size bytes (setrlimit(2), RLIMIT_FSIZE; Python ignores its signal)."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def fill(store: Store, session_id: int, from_second: int) -> tuple[int, StoreUnwritable]:
    """Puts until the disk refuses: the second that was refused, and the refusal."""
    for second in range(from_second, from_second + 100_000):
        try:
            store.put(session_id, second_of_session(second))
        except StoreUnwritable as refusal:
            return second, refusal
    raise AssertionError("the disk never filled up")


def check_seconds(path: Path, count: int) -> None:
    """The store holds the seconds 0 to count - 1, whole and once, and verifies."""
    with Store.open(path, write=False) as store:
        assert verify(store).problems == ()
        (session,) = store.sessions()
        stored = concatenated(list(store.read_items(session.id)))
    assert same(stored, concatenated([item for second in range(count) for item in second_of_session(second)]))


def fill_small_disk(folder: Path) -> str:
    """On a small file system: fills it, makes room, goes on. The sentence the user gets."""
    path = folder / "store.sqlite"
    ballast = folder / "ballast"
    ballast.write_bytes(bytes(600_000))
    with Store.open(path) as store:
        session_id = begin(store)
        second, refusal = fill(store, session_id, 0)
        with contextlib.suppress(StoreUnwritable):
            store.put(session_id, second_of_session(second))
            second += 1
        check_seconds(path, second)
        ballast.unlink()
        store.put(session_id, second_of_session(second))
        check_seconds(path, second + 1)
    check_seconds(path, second + 1)
    return f"{type(refusal).__name__}: {refusal}"
