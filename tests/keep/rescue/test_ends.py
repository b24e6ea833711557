"""What a sweep's own end says where neither a number nor an index does."""

import pytest

from daq.items import BOARD, lost
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


@pytest.mark.parametrize(
    ("from_us", "source", "tells"), [(50_000_000, BOARD, 0), (20_000_000, BOARD, 1), (50_000_000, "", 1)]
)
def test_where_an_event_says_already_that_scans_are_lost_at_the_end_nothing_more_is_told(store, from_us, source, tells):
    """One of sensors, without a source, says nothing of scans."""
    session_id = ridden(store, scans_s=range(50))
    store.put(session_id, [lost(from_us, "something", to_us=from_us + 5_000_000, source=source)])

    assert len(told(store)) == tells


def test_of_a_sweep_begun_when_the_board_was_silent_already_its_own_time_counts(store):
    session_id = ridden(store, scans_s=range(60))
    for from_us, to_us in ((70_000_000, 71_000_000), (80_000_000, 90_000_000)):
        rest = {"plan": {}, "rider": {}, "gradient_pct": 0.0, "calibration": {}}
        store.end_sweep(store.begin_sweep(session_id, from_us=from_us, **rest), to_us=to_us, state="stopped")

    (said,) = told(store)
    assert said.startswith("session 1: no scan of 'board' follows 80.000 s, though sweep 3 went on until 90.000 s")


def test_where_a_scale_was_read_by_a_person_no_scan_is_missed(store):
    ridden(store, rig=rig_text('[typed]\nunit = "kg"\nstep = 0.1', ("hands", "saddle")))

    assert told(store) == []
