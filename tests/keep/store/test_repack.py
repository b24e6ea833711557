import pytest

from daq.keep.store import Store
from daq.keep.store.repack import repack
from daq.keep.store.verify import verify
from daq.values import Samples
from tests.keep.jig import begin, concatenated, pedalling, recorded, same


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def chunk_count(store):
    with store.reading() as db:
        return db.execute("SELECT count(*) FROM chunks").fetchone()[0]


def scans_before_each_point(items):
    found, scans = [], 0
    for item in items:
        if isinstance(item, Samples):
            scans += len(item)
        else:
            found.append((scans, item))
    return found


def test_a_closed_session_takes_less_room_and_is_the_same_to_the_last_bit(store):
    session_id = recorded(store, 30)
    before = list(store.read_items(session_id))

    assert repack(store, session_id) > 0
    assert chunk_count(store) == 1
    after = list(store.read_items(session_id))
    assert same(concatenated(after), concatenated(before))
    assert scans_before_each_point(after) == scans_before_each_point(before)
    assert verify(store).problems == ()


def test_chunks_stay_within_the_target_and_sources_apart(store):
    session_id = begin(store)
    for second in range(10):
        at_us = second * 1_000_000
        store.put(
            session_id,
            [
                pedalling(scans=100, rate_hz=100, from_us=at_us, source="left"),
                pedalling(scans=100, rate_hz=100, channels=2, from_us=at_us, source="right"),
            ],
        )
    other = recorded(store, 3)
    before = list(store.read_items(session_id))

    repack(store, session_id, target_scans=400)
    assert chunk_count(store) == 3 + 3 + 3
    for source in ("left", "right"):
        assert same(concatenated(list(store.read_items(session_id)), source), concatenated(before, source))
    assert len(concatenated(list(store.read_items(other)))) == 300


def test_a_change_of_channels_starts_a_new_chunk(store):
    session_id = begin(store)
    for second, channels in enumerate((4, 4, 5, 5, 4)):
        store.put(session_id, [pedalling(scans=10, channels=channels, from_us=second * 1_000_000)])

    repack(store, session_id)
    assert chunk_count(store) == 3
    assert verify(store).problems == ()


def test_a_damaged_chunk_is_left_with_its_neighbours_as_it_was(store):
    session_id = recorded(store, 5)
    with store.writing() as db:
        db.execute("UPDATE chunks SET bytes = zeroblob(50) WHERE id = 3")
    repack(store, session_id)

    found = verify(store)
    assert chunk_count(store) == 5
    assert [problem for problem in found.problems if "chunk 3 of 'jig'" not in problem] == []


def test_progress_counts_groups(store):
    session_id = recorded(store, 6)
    seen = []
    repack(store, session_id, target_scans=200, progress=lambda done, of: seen.append((done, of)))

    assert seen == [(1, 3), (2, 3), (3, 3)]
