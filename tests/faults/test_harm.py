import numpy as np
import pytest

from daq.keep.errors import StoreDamaged
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.faults.harm import hit_anywhere, made, readable, truncate
from tests.keep.jig import begin, concatenated, pedalling, same, second_of_session


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


def flip_in_chunk(path, content, chunk_id):
    """One bit of one chunk, in the file itself."""
    with Store.open(path, write=False) as store, store.reading() as db:
        (packed,) = db.execute("SELECT bytes FROM chunks WHERE id = ?", (chunk_id,)).fetchone()
    at = content.index(packed[-64:])
    path.write_bytes(content[: at + 30] + bytes([content[at + 30] ^ 0x10]) + content[at + 31 :])


def test_a_damaged_chunk_is_named_and_all_others_are_read(path):
    flip_in_chunk(path, made(path, 5), 3)

    with Store.open(path) as store, pytest.raises(StoreDamaged, match=r"chunk 3 of 'jig' \(session 1, 2\.0"):
        list(store.read_items(1))
    scans, complaints = readable(path)
    whole = concatenated([item for second in (0, 1, 3, 4) for item in second_of_session(second)])
    assert same(concatenated(scans), whole)
    (complaint,) = complaints
    assert complaint == "scans of 'jig' from 2.000 to 2.960 s (chunk 3)"


def test_chunks_that_the_store_lists_and_cannot_reach_are_damaged(path, tmp_path):
    content = bytearray(made(path, 60))
    with Store.open(path, write=False) as store, store.reading() as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'chunks'").fetchone()
    page = (root - 1) * 4096
    # sqlite.org/fileformat2.html, 1.6: an interior page's cells, page of the left child, then its greatest rowid
    cell = page + int.from_bytes(content[page + 12 : page + 14], "big")
    assert content[page] == 5
    assert 2 < content[cell + 4] < 60
    lost, content[cell + 4] = content[cell + 4] - 1, 1
    path.write_bytes(content)

    with Store.open(path, write=False) as store:
        assert sum("cannot be reached" in problem for problem in verify(store).problems) == lost
    scans, complaints = readable(path)
    assert (len(scans) > 0, len(complaints)) == (True, lost)
    found = salvage(path, tmp_path / "new.sqlite")
    assert (found.scans, found.problems) == (6000, ())


@pytest.fixture
def chunks_page(path):
    """A store's bytes, where in them the page with chunk 30 begins, and how many cells that has."""
    content = bytearray(made(path, 60))
    with Store.open(path, write=False) as store, store.reading() as db:
        (packed,) = db.execute("SELECT bytes FROM chunks WHERE id = 30").fetchone()
    page = content.index(packed[:40]) // 4096 * 4096
    assert content[page] == 13  # a leaf of a table: sqlite.org/fileformat2.html, 1.6
    return content, page, int.from_bytes(content[page + 3 : page + 5], "big")


def test_a_row_out_of_nothing_with_another_ones_number_is_a_problem(path, chunks_page):
    content, page, cells = chunks_page
    row = bytes([21, 2, 21, *[0] * 20])  # numbered 2, 20 columns that are NULL (2.1), in place of the page's last
    begin = int.from_bytes(content[page + 5 : page + 7], "big") - len(row)
    assert begin > 8 + 2 * cells
    content[page + begin : page + begin + len(row)] = row
    content[page + 6 + 2 * cells : page + 8 + 2 * cells] = begin.to_bytes(2, "big")
    path.write_bytes(content)

    with Store.open(path, write=False) as store:
        assert verify(store).problems
    assert len(readable(path)[1]) == 1


def test_a_row_whose_number_changed_is_a_problem(path, chunks_page):
    content, page, cells = chunks_page
    cell = page + int.from_bytes(content[page + 6 + 2 * cells : page + 8 + 2 * cells], "big")
    assert content[cell] & 0x80  # a length of two bytes comes before the number
    assert 2 < content[cell + 2] < 60
    content[cell + 2] = 100
    path.write_bytes(content)

    with Store.open(path, write=False) as store:
        assert any("chunk 100 of 'jig' cannot be reached" in problem for problem in verify(store).problems)
    assert len(readable(path)[1]) == 1


def test_a_session_goes_on_after_a_damaged_chunk(path):
    flip_in_chunk(path, made(path, 3), 2)
    with Store.open(path) as store:
        store.put(1, second_of_session(3))

    assert sum(len(scans) for scans in readable(path)[0]) == 300


def test_a_truncated_file_is_noticed_and_what_is_left_is_salvaged_sound(path, tmp_path):
    content = made(path, 40)

    kept = []
    for number, length in enumerate(np.linspace(200, len(content) - 1, 9).astype(int)):
        target = tmp_path / f"salvaged{number}.sqlite"
        found = truncate(path, content, int(length), target)
        kept.append(0 if found is None else found.scans)
        if found is not None:
            with Store.open(target) as store:
                assert verify(store).problems == ()
                scans = [scan for session in store.sessions() for scan in store.read_items(session.id)]
            if found.chunks:
                seconds = sorted(set((concatenated(scans).received_us // 1_000_000).tolist()))
                whole = [item for second in seconds for item in second_of_session(second)]
                assert same(concatenated(scans), concatenated(whole))
    assert kept == sorted(kept)
    assert kept[-1] >= 3000


def test_a_sound_store_is_salvaged_whole(path, tmp_path):
    made(path, 5)
    found = salvage(path, tmp_path / "new.sqlite")

    assert (found.chunks, found.scans, found.problems) == (5, 500, ())
    with Store.open(tmp_path / "new.sqlite", write=False) as new, Store.open(path, write=False) as old:
        for a, b in zip(new.read_items(1), old.read_items(1), strict=True):
            assert type(a) is type(b)
        assert new.sessions() == old.sessions()


def test_a_hit_anywhere_never_passes_as_sound_counts(path):
    content = made(path, 20)
    whole = concatenated([item for second in range(20) for item in second_of_session(second)])
    rng = np.random.default_rng(3)

    for _ in range(40):
        noticed = hit_anywhere(path, content, rng)
        if not noticed:
            assert same(concatenated(readable(path)[0]), whole)


def test_a_clock_that_jumps_loses_nothing_and_verifies(path):
    year_us = 31_536_000_000_000
    starts = [0, year_us, 1_000_000, -5_000_000, 2_000_000]
    jumping = [pedalling(scans=100, rate_hz=100, channels=2, from_us=max(at, 0)) for at in starts]
    middle = pedalling(scans=100, rate_hz=100, channels=2)
    middle.received_us[50:] += year_us
    middle.received_us[70:] -= 2 * year_us
    with Store.open(path) as store:
        session_id = begin(store)
        for samples in [*jumping, middle]:
            store.put(session_id, [samples])

        assert same(concatenated(list(store.read_items(session_id))), concatenated([*jumping, middle]))
        assert verify(store).problems == ()
