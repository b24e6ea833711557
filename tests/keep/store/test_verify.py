import pytest

from daq.keep.store import Store
from daq.keep.store.verify import verify
from tests.keep.jig import recorded


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        recorded(opened, 4)
        yield opened


def test_a_sound_store_is_counted_and_has_no_problems(store):
    found = verify(store)

    assert (found.sessions, found.chunks, found.scans, found.samples) == (1, 4, 400, 2000)
    assert found.problems == ()


@pytest.mark.parametrize(
    ("harm", "complaint"),
    [
        (
            "UPDATE chunks SET bytes = CAST(bytes || x'00' AS BLOB) WHERE id = 2",
            "chunk 2 of 'jig' (session 1, 1.000 to 1.960 s)",
        ),
        ("UPDATE chunks SET crc = crc + 1 WHERE id = 4", "chunk 4 of 'jig'"),
        ("UPDATE chunks SET scans = 99 WHERE id = 1", "chunk 1 of 'jig'"),
        ("DELETE FROM events", "row 1 of events is without its twin"),
        ("DELETE FROM twins WHERE of = 'sessions'", "row 1 of sessions is without its twin"),
    ],
)
def test_each_kind_of_harm_is_found_and_named(store, harm, complaint):
    with store.writing() as db:
        db.execute(harm)

    assert any(complaint in problem for problem in verify(store).problems)


def test_progress_counts_chunks(store):
    seen = []
    verify(store, lambda done, of: seen.append((done, of)))

    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]
