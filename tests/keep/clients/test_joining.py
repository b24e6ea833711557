"""Two records of one client: what joining changes, what it leaves, and that it can be undone."""

import datetime
import sqlite3

import pytest

from daq.keep.clients import people, visits
from daq.keep.clients.forgetting import forget, known_as
from daq.keep.clients.join_words import joining_said
from daq.keep.clients.joining import join, joining, part
from daq.keep.clients.joins import add_join, leads_to, part_of
from daq.keep.clients.told import told_in
from daq.keep.errors import NotThere
from daq.keep.package.export import export
from daq.keep.package.importing import AlreadyThere, import_sweep
from daq.keep.package.own_data import kept_about, sweeps_of
from daq.keep.package.own_page import own_page
from daq.keep.package.permission import ExportRefused
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from daq.keep.store.rows import update_row
from daq.keep.store.verify import verify
from daq.sweep.workshop import taught
from tests.keep.jig import concatenated
from tests.keep.sweeps import computed
from tests.keep.told import ridden


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def visit(store, client, day, onset_mm, **intake):
    """A visit with an intake and one sweep."""
    sweep_id = ridden(store, onset_mm, client=client, day=day)
    visit_id = visits.begin_visit(store, client.id, store.sweep(sweep_id).session_id)
    visits.add_note(store, visit_id, "intake", intake)
    visits.add_note(store, visit_id, "sweep", {"sweep_id": sweep_id})
    return visit_id, sweep_id


@pytest.fixture
def twice(store):
    """One client, entered on two days: the two records."""
    first = people.add_client(store, name="Ada Quill", keep_until=datetime.date(2036, 3, 1))
    visit(store, first, "2026-03-01", 52.0, mass_kg=60.0)
    again = people.add_client(store, name="A. Quillon", keep_until=datetime.date(2035, 9, 1))
    visit(store, again, "2026-03-08", 58.0, mass_kg=61.0)
    for record, kinds in ((first, ("service", "research")), (again, ("service", "images"))):
        for kind in kinds:
            people.set_consent(store, record.id, kind, True)
    return first, again


def everything(store):
    """Every row of the store but those of joins, twins and the newest consents."""
    with store.reading() as db:
        return {
            table: db.execute(f"SELECT * FROM {table}").fetchall()
            for table in ("clients", "client_names", "visits", "visit_notes", "sweeps", "sessions", "copies", "results")
        }


def test_visits_sweeps_and_the_panel_are_one_clients_at_once(store, twice):
    first, again = twice
    received = [concatenated(list(store.read_items(number))).counts.tolist() for number in (1, 2)]
    results = everything(store)["results"]
    assert taught(told_in(store).tests).panel.second_days == 0
    join(store, first.pseudonym, again.pseudonym.lower())

    tests = told_in(store).tests
    assert {one.client for one in tests} == {first.pseudonym}
    assert taught(tests).panel.second_days == 1
    assert [one.client_id for one in visits.visits(store)] == [first.id, first.id]
    assert [visits.nth(store, number) for number in (1, 2)] == [1, 2]
    assert visits.last_of_client(store, first.id, "intake").content == {"mass_kg": 61.0}
    assert [one.pseudonym for one in people.clients(store)] == [first.pseudonym]
    assert people.client_called(store, again.pseudonym).id == first.id
    assert [concatenated(list(store.read_items(number))).counts.tolist() for number in (1, 2)] == received
    assert everything(store)["results"] == results
    assert verify(store).problems == ()


def test_the_stricter_consent_and_the_earlier_date_hold(store, twice):
    first, again = twice
    said = joining_said(joining(store, first.pseudonym, again.pseudonym))
    assert people.consents(store, first.id)["research"], "only asked so far"
    assert said == joining_said(join(store, first.pseudonym, again.pseudonym))

    assert people.consents(store, first.id) == {"service": True, "research": False, "images": False}
    assert people.client(store, first.id).keep_until == "2035-09-01"
    assert f"{first.pseudonym} stays. {again.pseudonym} is no longer listed: 1 visit and 1 sweep go" in said[0]
    assert "not agreed to from now on: research, images. Ask the client" in said[1]
    assert "until 2035-09-01, the earlier" in said[2]


def test_parted_again_everything_is_as_it_was(store, twice):
    first, again = twice
    before, agreed = everything(store), [people.consents(store, one.id) for one in twice]
    join(store, first.pseudonym, again.pseudonym)
    assert everything(store) != before
    part(store, again.pseudonym)

    assert everything(store) == before
    assert [people.consents(store, one.id) for one in twice] == agreed
    assert [one.id for one in people.clients(store)] == [first.id, again.id]
    assert taught(told_in(store).tests).panel.second_days == 0
    assert verify(store).problems == ()


def test_what_was_done_since_the_join_stays_with_the_kept_record(store, twice):
    first, again = twice
    join(store, first.pseudonym, again.pseudonym)
    _, since = visit(store, people.client_called(store, again.pseudonym), "2026-03-15", 50.0)
    for given in (True, False):
        people.set_consent(store, first.id, "research", given)
    people.set_keep_until(store, first.id, datetime.date(2030, 1, 1))
    part(store, again.pseudonym)

    assert store.sweep(since).client_id == first.id
    assert not people.consents(store, first.id)["research"], "said since, by the client"
    assert people.client(store, first.id).keep_until == "2030-01-01"


def test_notes_that_lead_in_a_circle_are_followed_to_an_end(store, twice):
    """As after a damaged note between them, that the two had been parted."""
    first, again = twice
    join(store, first.pseudonym, again.pseudonym)
    with store.writing() as db:
        add_join(db, "joined", again.id, first.id, {})

    with store.reading() as db:
        assert [leads_to(db, one.id) for one in twice] == [first.id, first.id]
        assert [one.other_id for one in part_of(db, first.id)] == [again.id]


def test_what_cannot_be_joined_or_parted_is_refused(store, twice):
    first, again = twice
    third = people.add_client(store)
    for names, said in (
        ((first.pseudonym, first.pseudonym), "cannot be joined with itself"),
        ((first.pseudonym, "R-NOBODY"), "no client R-NOBODY"),
    ):
        with pytest.raises((ValueError, NotThere), match=said):
            join(store, *names)
    with pytest.raises(ValueError, match="is not joined with another client"):
        part(store, again.pseudonym)
    join(store, first.pseudonym, again.pseudonym)
    with pytest.raises(ValueError, match=f"{again.pseudonym} is joined with {first.pseudonym}: name that one"):
        join(store, third.pseudonym, again.pseudonym)

    join(store, third.pseudonym, first.pseudonym)
    assert people.client_called(store, again.pseudonym) == people.client_called(store, third.pseudonym)
    assert people.name_of(store, third.id) in ("Ada Quill", "A. Quillon")
    with pytest.raises(ValueError, match=f"part {first.pseudonym} first"):
        part(store, again.pseudonym)
    for one in (first, again):
        part(store, one.pseudonym)
    assert [one.client_id for one in visits.visits(store)] == [first.id, again.id]


def test_who_is_forgotten_leaves_no_trace_under_any_pseudonym(store, twice, tmp_path):
    first, again = twice
    (imported,) = [ridden(store, 40.0)]
    with store.writing() as db:
        update_row(db, "sweeps", imported, rider=f'{{"exported_as": "{again.pseudonym}"}}')
    join(store, first.pseudonym, again.pseudonym)
    assert len(known_as(store, again.pseudonym)[1]) == 3
    assert forget(store, again.pseudonym).sweeps == 3

    content = (tmp_path / "store.sqlite").read_bytes()
    for word in ("Quill", first.pseudonym, again.pseudonym):
        assert word.encode() not in content
    assert verify(store).problems == ()


def test_a_join_survives_backup_and_salvage(store, twice, tmp_path):
    first, again = twice
    join(store, first.pseudonym, again.pseudonym)
    back_up(store, tmp_path / "copy.sqlite")
    restore(tmp_path / "copy.sqlite", tmp_path / "restored.sqlite")
    harmed = sqlite3.connect(tmp_path / "copy.sqlite", isolation_level=None)
    harmed.execute("UPDATE client_joins SET content = '{}'")
    harmed.close()
    salvage(tmp_path / "copy.sqlite", tmp_path / "salvaged.sqlite")

    for name in ("restored", "salvaged"):
        with Store.open(tmp_path / f"{name}.sqlite") as brought:
            assert people.client_called(brought, again.pseudonym).id == first.id
            assert taught(told_in(brought).tests).panel.second_days == 1
            part(brought, again.pseudonym)
            assert [one.client_id for one in brought.sweeps()] == [first.id, again.id]


def test_a_joined_record_lost_with_its_twin_takes_nothing_along(store, twice, tmp_path):
    first, again = twice
    join(store, first.pseudonym, again.pseudonym)
    back_up(store, tmp_path / "copy.sqlite")
    harmed = sqlite3.connect(tmp_path / "copy.sqlite", isolation_level=None)
    harmed.execute("PRAGMA foreign_keys = OFF")
    harmed.execute("PRAGMA secure_delete = ON")
    harmed.execute(f"DELETE FROM twins WHERE of = 'clients' AND row_id = {again.id}")
    harmed.execute(f"DELETE FROM clients WHERE id = {again.id}")
    harmed.close()
    salvage(tmp_path / "copy.sqlite", tmp_path / "salvaged.sqlite")

    with Store.open(tmp_path / "salvaged.sqlite") as brought:
        assert [one.pseudonym for one in people.clients(brought)] == [first.pseudonym]
        assert [one.client for one in told_in(brought).tests] == [first.pseudonym] * 2


def test_exports_go_by_the_kept_pseudonym_and_those_made_before_are_named(store, twice, tmp_path):
    first, again = twice
    people.set_consent(store, again.id, "research", True)
    export(store, [2], tmp_path / "before", computed)
    people.set_consent(store, first.id, "research", True)
    said = joining_said(join(store, first.pseudonym, again.pseudonym))
    assert any(str(tmp_path / "before") in one and again.pseudonym in one for one in said)

    made = export(store, [1, 2], tmp_path / "after", computed)
    assert all(first.pseudonym.lower() in folder.name for folder in made)
    with pytest.raises(AlreadyThere):
        import_sweep(store, next((tmp_path / "before").glob(f"*{again.pseudonym.lower()}*")))
    store.put_result(1, kind="decision", method="fitter/1", content={"why": "as Quillon wished"})
    with pytest.raises(ExportRefused, match="a part of the client's name"):
        export(store, [1], tmp_path / "named", computed)


def test_a_client_is_given_what_both_records_held(store, twice):
    first, again = twice
    join(store, first.pseudonym, again.pseudonym)
    kept = kept_about(store, first.id, sweeps_of(store, first.id))

    assert kept["sweeps"] == [1, 2]
    assert len(kept["visits"]) == 2
    (record,) = kept["joined"]
    assert (record["pseudonym"], record["name"]) == (again.pseudonym, "A. Quillon")
    assert [one["kind"] for one in record["consents"]] == ["service", "images"]
    assert f"Also entered as {again.pseudonym}" in own_page(kept)
