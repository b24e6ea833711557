"""Stored sweeps with something missing: computed from the rest, and said; sweeps that were cut off, closed for good."""

import datetime

import pytest

from daq.items import FITTER, LOST, SWEEP_BEGUN, Event
from daq.keep.again.case import case_of
from daq.keep.again.cut_off import close, cut_off
from daq.keep.again.recompute import recompute_stored
from daq.keep.again.ridden import ridden
from daq.keep.clients import visits
from daq.keep.errors import StoreDamaged
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from daq.values import Verdict
from tests.bits import bits
from tests.faults.rescue import make

PHRASE = "scans of 'board' from 30.004 to 30.992 s (chunk 31)"


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    path = tmp_path_factory.mktemp("sound") / "store.sqlite"
    return make(path, 1)


@pytest.fixture
def store(tmp_path, sound):
    (tmp_path / "store.sqlite").write_bytes(sound)
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def harm(store, *statements):
    with store.reading() as db:
        db.execute("PRAGMA foreign_keys = OFF")
    with store.writing() as db:
        for statement in statements:
            db.execute(statement)


CHUNK = "UPDATE chunks SET bytes = zeroblob(99) WHERE first_us BETWEEN 29900000 AND 30100000"


def test_a_sweep_with_a_damaged_chunk_is_computed_from_the_rest_and_its_answer_says_so(store):
    whole = recompute_stored(store, 1)
    harm(store, CHUNK)
    found = recompute_stored(store, 1)

    assert whole.losses == ()
    assert len(found.steps) == len(whole.steps) == 5
    assert [bits(step) for step in found.steps if step.setback_mm != 40.0] == [
        bits(step) for step in whole.steps if step.setback_mm != 40.0
    ]
    assert found.losses == (PHRASE,)
    assert found.onset.reasons[-1] == (
        f"some of what was received in this sweep is lost: {PHRASE}. Computed from the rest"
    )
    assert found.onset.verdict is whole.onset.verdict is Verdict.ONSET
    assert ridden(store, 1).onset == found.onset
    assert ridden(store, 1).losses == found.losses


def test_a_visit_is_decided_on_what_is_left(store):
    harm(store, CHUNK, "UPDATE sessions SET rig = ''", "DELETE FROM twins WHERE of = 'sessions'")
    visits.add_note(store, 1, "intake", {})
    with pytest.raises(StoreDamaged, match="row 1 of sessions is damaged"):
        case_of(store, 1, {})


@pytest.mark.parametrize(
    ("lost", "said"),
    [
        (f"kind = '{SWEEP_BEGUN}'", "an event at 0.000 s"),
        (f"kind = '{FITTER}' AND received_us > 20000000 AND received_us < 30000000", "an event at 28.000 s"),
    ],
)
def test_an_event_that_is_lost_twice_stops_nothing(store, lost, said):
    harm(
        store,
        f"UPDATE events SET content = 'x' WHERE {lost}",
        f"UPDATE twins SET content = 'x' WHERE of = 'events' AND row_id IN (SELECT id FROM events WHERE {lost})",
    )
    found = recompute_stored(store, 1)

    assert found.losses[0].startswith(said)
    assert len(found.steps) >= 4
    if SWEEP_BEGUN in lost:
        assert found.onset.verdict is Verdict.UNDECIDED
        assert "the event that began this sweep is lost" in found.onset.reasons[0]


def test_an_event_that_is_lost_once_changes_nothing(store):
    whole = recompute_stored(store, 1)
    harm(store, "UPDATE events SET content = 'x'")

    assert bits(recompute_stored(store, 1).onset) == bits(whole.onset)
    assert recompute_stored(store, 1).losses == ()


@pytest.mark.parametrize(
    ("table", "column", "said"),
    [
        ("sessions", "rig", "the rig file of session 1 is lost"),
        ("calibrations", "content", "the calibration of sweep 1"),
    ],
)
def test_without_rig_or_calibration_nothing_is_computed_and_that_is_said(store, table, column, said):
    with store.writing() as db:
        update_row(db, table, 1, **{column: "" if column == "rig" else "{}"})

    with pytest.raises(StoreDamaged, match=said):
        recompute_stored(store, 1)
    with pytest.raises(StoreDamaged, match=said):
        ridden(store, 1)


def reopened(store, *, until_us=None):
    """As a kill leaves it."""
    with store.writing() as db:
        update_row(db, "sweeps", 1, to_us=None, state=None)
        db.execute("DELETE FROM results")
        if until_us is not None:
            for table, column in (("chunks", "first_us"), ("events", "received_us"), ("notifications", "received_us")):
                db.execute(f"DELETE FROM {table} WHERE {column} > ?", (until_us,))


def test_a_sweep_cut_off_hours_ago_is_found_and_closed_with_what_was_ridden(store):
    whole = recompute_stored(store, 1)
    reopened(store, until_us=45_000_000)
    (found,) = cut_off(store)
    began = datetime.datetime.fromisoformat(found.session.started_utc)
    now = began + datetime.timedelta(hours=30)

    assert found.sweep.id == 1
    assert found.ago(now) == pytest.approx(datetime.timedelta(hours=30, seconds=-45), abs=datetime.timedelta(seconds=2))
    was_ridden = close(store, 1)
    assert [bits(step) for step in was_ridden.steps] == [bits(step) for step in whole.steps[:3]]
    assert (store.sweep(1).state, store.sweep(1).to_us) == ("cut off", store.last_us(1) + 1)
    assert cut_off(store) == []
    assert store.results(1) == []


def test_a_sweep_cut_off_after_its_last_step_is_closed_as_finished_with_its_answer(store):
    whole = recompute_stored(store, 1)
    reopened(store)
    close(store, 1)

    assert store.sweep(1).state == "finished"
    assert [one.content["onset_mm"] for one in store.results(1, "onset")] == [whole.onset.onset_mm]
    assert close(store, 1).onset is not None
    assert len(store.results(1)) == 1


def test_closing_a_sweep_of_which_nothing_can_be_computed_ends_it_all_the_same(store):
    reopened(store)
    with store.writing() as db:
        update_row(db, "sessions", 1, rig="")

    assert close(store, 1) is None
    assert store.sweep(1).state == "cut off"


def test_a_gap_that_was_stored_is_read_as_one(store):
    gap = {"said": "scans of 'board' from 29.000 to 30.000 s", "source": "board", "to_us": 30_000_000, "scans": None}
    store.put(1, [Event(29_000_000, LOST, gap)])

    assert recompute_stored(store, 1).losses == (gap["said"],)
