import pytest

from daq.keep.clients import people, visits
from daq.keep.clients.forgetting import _remove_window, forget
from daq.keep.errors import StoreError
from daq.keep.store import Store
from daq.keep.store.rows import unsound_rows
from tests.keep.jig import begin, concatenated, pedalling, recorded


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        recorded(opened, 2)
        yield opened


def test_notes_are_added_and_the_latest_of_a_kind_is_found_over_all_visits(store):
    client = people.add_client(store, name="Ada Example")
    first = visits.begin_visit(store, client.id, 1)
    visits.add_note(store, first, "intake", {"mass_kg": 75.0})
    second = visits.begin_visit(store, client.id, 1)
    visits.add_note(store, second, "intake", {"mass_kg": 74.0})

    assert visits.last_of_client(store, client.id, "intake").content == {"mass_kg": 74.0}
    assert [note.content["mass_kg"] for note in visits.notes(store, first)] == [75.0]
    assert visits.visit_of_session(store, 1).id == second
    assert [one.id for one in visits.visits(store, client.id)] == [first, second]


def test_no_such_visit_is_one_sentence(store):
    with pytest.raises(StoreError, match="no visit 7"):
        visits.visit(store, 7)


def test_forgetting_a_client_takes_the_visits_along_and_leaves_those_of_others(store):
    gone, stays = people.add_client(store), people.add_client(store)
    for client in (gone, stays):
        visits.add_note(store, visits.begin_visit(store, client.id, 1), "intake", {"of": client.pseudonym})

    forget(store, gone.pseudonym)

    assert [one.client_id for one in visits.visits(store)] == [stays.id]
    assert visits.last_of_client(store, stays.id, "intake").content == {"of": stays.pseudonym}
    assert store.session(1).id == 1


def test_a_note_that_was_tampered_with_is_found(store):
    client = people.add_client(store)
    visits.add_note(store, visits.begin_visit(store, client.id, 1), "decision", {"setback_mm": 60})
    with store.writing() as db:
        db.execute("UPDATE visit_notes SET content = '{}'")

    with store.reading() as db:
        assert unsound_rows(db, "visit_notes") == [1]


def test_a_window_that_is_removed_leaves_the_scan_at_its_end_which_begins_what_is_anothers(store):
    scans = pedalling(scans=400, rate_hz=100)
    session_id = begin(store)
    store.put(session_id, [scans])
    from_us, to_us = int(scans.received_us[100]), int(scans.received_us[300])
    with store.writing() as db:
        _remove_window(db, session_id, from_us, to_us)

    left_us = concatenated(list(store.read_items(session_id))).received_us
    outside = (scans.received_us < from_us) | (scans.received_us >= to_us)
    assert left_us.tolist() == scans.received_us[outside].tolist()
    assert to_us in left_us
