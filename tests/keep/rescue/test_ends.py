"""What a sweep's own end says where neither a number nor an index does."""

import pytest

from daq.keep.rescue.ends import silent_ends
from daq.keep.store import Store
from tests.keep.rescue.rides import ridden
from tests.rigs import rig_text


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def told(store):
    with store.reading() as db:
        return silent_ends(db)


@pytest.mark.parametrize(
    ("scans_s", "last"), [(range(60), None), (range(59), None), (range(50), "49.9"), ((), "0.000")]
)
def test_a_sweep_that_went_on_when_no_chunk_follows_is_told(store, scans_s, last):
    ridden(store, scans_s=range(60))
    ridden(store, scans_s=scans_s)

    said = told(store)
    assert len(said) == (last is not None)
    assert all(one.startswith(f"session 2: no scan of 'board' follows {last}") for one in said)
    assert all("though sweep 2 went on until 60.000 s" in one for one in said)


def test_a_board_that_was_silent_before_the_numbers_of_chunks_go_on_is_nothing_to_tell(store):
    for scans_s in (range(50), (), range(60)):
        ridden(store, scans_s=scans_s)

    assert told(store) == []


def test_where_a_scale_was_read_by_a_person_no_scan_is_missed(store):
    ridden(store, rig=rig_text('[typed]\nunit = "kg"\nstep = 0.1', ("hands", "saddle")))

    assert told(store) == []
