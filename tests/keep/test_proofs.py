"""The file of a sheet: what cannot be written is told in a sentence, and leaves what was kept before."""

import errno
import os

import pytest

from daq.keep.errors import StoreFull, StoreReadOnly, StoreUnwritable
from daq.keep.proofs import keep, load, new_path
from daq.proof.sheet import ProofReading
from tests.proof.simulated_sheet import begun

READING = ProofReading(task="empty", at_utc="2025-03-04T10:00:00+00:00", t_min=1.0)


@pytest.mark.parametrize(
    ("number", "kind", "sentence"),
    [
        (errno.ENOSPC, StoreFull, "no room left on the disk of {path}: free some"),
        (errno.EDQUOT, StoreFull, "no room left on the disk of {path}"),
        (errno.EROFS, StoreReadOnly, "{path} cannot be written (Read-only file system): check the permissions"),
        (errno.EIO, StoreUnwritable, "{path} cannot be written (Input/output error)"),
    ],
)
def test_a_sheet_that_cannot_be_written_says_why_and_the_one_before_stays(
    tmp_path, monkeypatch, number, kind, sentence
):
    path = tmp_path / "p.json"
    keep(begun(), path)

    def refuse(_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(kind) as refused:
        keep(begun().with_reading(READING), path)

    assert str(refused.value).startswith(sentence.format(path=path))
    assert load(path) == begun()
    assert [one.name for one in tmp_path.iterdir()] == ["p.json"]


def test_a_folder_for_sheets_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "proofs").write_text("a file")

    with pytest.raises(StoreUnwritable, match=r"proofs cannot be written"):
        new_path(tmp_path / "proofs", "2025-03-04T10:00:00+00:00")
