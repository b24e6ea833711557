"""Where copies lie, those made from copies too."""

import pytest

from daq.keep.clients import people
from daq.keep.clients.copies import exports_noted, exports_of
from daq.keep.clients.forgetting import forget
from daq.keep.package.export import export
from daq.keep.package.own_data import hand_over
from daq.keep.store import Store
from daq.keep.store.backup import back_up, restore
from daq.keep.store.rows import update_row
from tests.keep.sweeps import computed, stored


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def agreed(store):
    client = people.add_client(store, name="Ada Quill")
    people.set_consent(store, client.id, "research", True)
    return client, stored(store, client_id=client.id, simulated=False)


def test_exports_made_from_a_backup_and_from_a_backup_of_that_are_named(store, tmp_path):
    client, sweep_id = agreed(store)
    back_up(store, tmp_path / "first.sqlite")
    with Store.open(tmp_path / "first.sqlite", write=False) as first:
        export(first, [sweep_id], tmp_path / "from first", computed)
        back_up(first, tmp_path / "second.sqlite")
    with Store.open(tmp_path / "second.sqlite", write=False) as second:
        export(second, [sweep_id], tmp_path / "from second", computed)

    assert [copy.path.name for copy in exports_of(store, client)] == ["from first", "from second"]
    assert exports_noted(store, client) == []
    gone = forget(store, client.pseudonym)
    assert {path.name for path in gone.exports} == {"from first", "from second"}
    assert {path.name for path in gone.backups} == {"first.sqlite", "second.sqlite"}


def test_exports_of_another_client_are_not_named(store, tmp_path):
    client, _ = agreed(store)
    other, sweep_id = agreed(store)
    back_up(store, tmp_path / "copy.sqlite")
    with Store.open(tmp_path / "copy.sqlite", write=False) as copy:
        export(copy, [sweep_id], tmp_path / "other's", computed)

    assert exports_of(store, client) == []
    assert [copy.path.name for copy in exports_of(store, other)] == ["other's"]


def test_a_number_that_is_another_sweep_in_a_backup_counts_for_nothing(store, tmp_path):
    with Store.open(tmp_path / "elsewhere.sqlite") as elsewhere:
        stored(elsewhere, client_id=None)
        with elsewhere.writing() as db:
            update_row(db, "sweeps", 1, from_us=1_000_001)
        export(elsewhere, [1], tmp_path / "of elsewhere", computed, purpose="client")
    client, _ = agreed(store)
    back_up(store, tmp_path / "copy.sqlite")
    (tmp_path / "elsewhere.sqlite").replace(tmp_path / "copy.sqlite")

    assert exports_of(store, client) == []


def test_a_backup_that_is_gone_or_damaged_stops_nothing(store, tmp_path):
    client, _ = agreed(store)
    for name in ("gone", "damaged"):
        back_up(store, tmp_path / name)
    (tmp_path / "gone").unlink()
    (tmp_path / "damaged").write_bytes(b"x" * 5000)

    assert [(copy.path.name, copy.unread) for copy in exports_of(store, client)] == [("gone", True), ("damaged", True)]
    done = forget(store, client.pseudonym)
    assert {path.name for path in done.backups} == {path.name for path in done.unread} == {"gone", "damaged"}


def test_what_was_handed_over_is_no_export_for_research(store, tmp_path):
    client, sweep_id = agreed(store)
    hand_over(store, client.id, tmp_path / "mine", computed)
    export(store, [sweep_id], tmp_path / "study", computed)

    assert [copy.path.name for copy in exports_of(store, client)] == ["study"]
    assert [copy.path.name for copy in exports_noted(store, client)] == ["study"]


def test_after_a_restore_exports_of_sweeps_that_only_the_store_set_aside_has_are_named(store, tmp_path):
    client, _ = agreed(store)
    back_up(store, tmp_path / "copy.sqlite")
    later = stored(store, client_id=client.id, simulated=False)
    export(store, [later], tmp_path / "since", computed)
    hand_over(store, client.id, tmp_path / "mine", computed)
    store.close()
    restore(tmp_path / "copy.sqlite", store.path)

    with Store.open(store.path) as restored:
        assert [copy.path.name for copy in exports_of(restored, client)] == ["since"]
        assert {tmp_path / "since", tmp_path / "mine"} <= set(forget(restored, client.pseudonym).exports)
