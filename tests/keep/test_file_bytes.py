"""Bytes of a file on a disk that fails, or that changes while it is read."""

import errno
import io
import os

import pytest

from daq.keep import file_bytes
from daq.keep.file_bytes import SECTOR_BYTES, FileBytes
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.keep.jig import recorded


class Failing(io.FileIO):
    """A file of which some whole sectors cannot be read: a read ends before them, and fails within them (read(2), EIO;
    that Linux gives what came before first is from memory)."""

    bad = range(0)

    def read(self, size=-1):
        at = self.tell()
        if at in self.bad:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return super().read(min(size, self.bad.start - at) if at < self.bad.start else size)


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "x"
    path.write_bytes(bytes(i % 251 for i in range(5 * SECTOR_BYTES + 100)))
    return path


@pytest.mark.parametrize("window", [1, 7, 1000, SECTOR_BYTES, 2**20])
def test_slices_are_those_of_its_bytes_whatever_the_window(path, monkeypatch, window):
    monkeypatch.setattr(file_bytes, "WINDOW_BYTES", window)
    whole = path.read_bytes()
    with io.FileIO(path) as file:
        content = FileBytes(file)
        assert len(content) == len(whole)
        for start, stop in (
            (0, 4),
            (4, 100),
            (50, 20_000),
            (20_000, 30_000),
            (19_990, 20_600),
            (7, 3),
            (10**9, 10**9 + 1),
        ):
            assert content[start:stop] == whole[start:stop]
        for mark in (bytes([250, 0, 1]), whole[-5:], b"nowhere"):
            for start in (0, 249, 250, 251, 20_570, 10**9):
                assert content.find(mark, start) == whole.find(mark, start)


def test_what_cannot_be_read_is_zeros_and_the_rest_is_there(path):
    whole = path.read_bytes()
    with Failing(path) as file:
        file.bad = range(SECTOR_BYTES, 2 * SECTOR_BYTES)
        seen = whole[:SECTOR_BYTES] + bytes(SECTOR_BYTES) + whole[2 * SECTOR_BYTES :]
        assert FileBytes(file)[:] == seen
        assert [FileBytes(file)[at : at + 9000] for at in (10, 5000, 8191)] == [
            seen[at : at + 9000] for at in (10, 5000, 8191)
        ]
        assert FileBytes(file).find(whole[:5], SECTOR_BYTES - 3) == whole.find(whole[:5], 2 * SECTOR_BYTES)


def test_a_file_that_shrinks_meanwhile_ends_there(path):
    with io.FileIO(path) as file:
        content = FileBytes(file)
        os.truncate(path, 100)
        assert len(content[50:200]) == 50
        assert content[SECTOR_BYTES : 2 * SECTOR_BYTES] == b""


def test_a_store_on_a_failing_disk_is_salvaged_around_the_sectors_that_cannot_be_read(tmp_path, monkeypatch):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        recorded(store, 20)
        with store.reading() as db:
            (chunk,) = db.execute("SELECT bytes FROM chunks WHERE id = 10").fetchone()
    at = path.read_bytes().index(chunk[:100])

    class Opened:
        def __init__(self, path):
            self.raw = Failing(path)
            self.raw.bad = range(at // SECTOR_BYTES * SECTOR_BYTES, (at // SECTOR_BYTES + 1) * SECTOR_BYTES)

        def detach(self):
            return self.raw

    monkeypatch.setattr("daq.keep.rescue.pages.open_plain", Opened)
    found = salvage(path, tmp_path / "new.sqlite")

    assert any("nothing can be read on " in problem for problem in found.problems)
    assert 1500 <= found.scans < 2000
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert verify(new).problems == ()
