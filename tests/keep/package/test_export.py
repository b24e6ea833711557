"""How an export goes: whole or not at all, taken up again, with what is lost told."""

import json
from dataclasses import replace

import pytest

from daq.items import LOST, Event
from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.errors import StoreDamaged
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.package.tables import read_table
from daq.keep.store import Store
from tests.keep.jig import concatenated, pedalling, recorded
from tests.keep.package.folders import Stopped, files
from tests.keep.sweeps import computed, stored

FORMS = ["parquet", "csv.gz"]


@pytest.mark.parametrize("form", FORMS)
def test_the_same_sweep_gives_the_same_bytes(store, tmp_path, form):
    sweep_id = stored(store)
    for folder in ("first", "second"):
        export(store, [sweep_id], tmp_path / folder, computed, form=form)

    assert files(tmp_path / "first") == files(tmp_path / "second")


def test_nothing_is_overwritten_and_what_is_there_is_said(store, tmp_path):
    sweep_id, told = stored(store), []
    (made,) = export(store, [sweep_id], tmp_path / "out", computed)
    before = files(tmp_path / "out")
    store.put_result(sweep_id, kind="onset", method="grid/9", content={})

    assert export(store, [sweep_id], tmp_path / "out", computed, told=told.append) == []
    assert files(tmp_path / "out") == before
    assert told == [f"{made} is there already and stays as it is"]


def test_an_export_that_was_stopped_is_described_and_taken_up_again(store, tmp_path):
    ids = [stored(store) for _ in range(3)]

    def stopped(store, sweep_id):
        if sweep_id == ids[1]:
            raise Stopped
        return computed(store, sweep_id)

    with pytest.raises(Stopped):
        export(store, ids, tmp_path / "out", stopped)
    first = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert (tmp_path / "out" / "README.md").exists()
    assert len([one for one in first["resources"] if "/" in one["path"]]) == 1
    made = export(store, ids, tmp_path / "out", computed)
    export(store, ids, tmp_path / "whole", computed)

    assert len(made) == 2
    assert files(tmp_path / "out") == files(tmp_path / "whole")


def test_one_sweep_that_cannot_be_exported_is_told_and_the_others_go_on(store, tmp_path):
    ids, told = [stored(store) for _ in range(3)], []
    store.put(store.sweep(ids[1]).session_id, [pedalling(scans=9, channels=3, from_us=3_000_000)])

    made = export(store, ids, tmp_path / "out", computed, told=told.append)
    assert len(made) == 2
    assert told == [f"left out: sweep {ids[1]}: 'jig' changed from 3 to 5 channels within the sweep"]
    with pytest.raises(ValueError, match="changed from 3 to 5 channels"):
        export(store, ids, tmp_path / "again", computed)


def test_a_damaged_chunk_is_left_out_of_the_raw_with_an_event_in_its_place_and_told(store, tmp_path):
    sweep_id, told = stored(store), []
    sound = concatenated(list(store.read_items(1, 1_000_000, 5_500_000))).received_us.tolist()
    with store.writing() as db:
        (first_us, last_us) = db.execute("SELECT first_us, last_us FROM chunks WHERE id = 3").fetchone()
        db.execute("UPDATE chunks SET bytes = zeroblob(9) WHERE id = 3")
    (made,) = export(store, [sweep_id], tmp_path / "out", unreadable, told=told.append)

    scans = read_table(made, "raw_jig")["received_us"]
    assert scans == [at_us for at_us in sound if not first_us <= at_us <= last_us]
    gaps = [one for one in zip(*read_table(made, "events").values(), strict=True) if one[2] == LOST]
    assert len(gaps) == 1
    assert gaps[0][1] // 1_000_000 == 2
    assert json.loads((made / "datapackage.json").read_text())["lost"] == ["the rig is lost"]
    assert told == [f"{made.name}: exported without what is lost of it: the rig is lost"]
    with Store.open(tmp_path / "other.sqlite") as other:
        again = import_sweep(other, made)
        found = list(other.read_items(other.sweep(again).session_id))
    assert [item.kind for item in found if isinstance(item, Event)].count(LOST) == 1


def unreadable(store, sweep_id):
    """Of this sweep nothing can be computed."""
    raise StoreDamaged("the rig is lost")


def test_a_store_is_exported_beside_the_daemon_that_writes_to_it(store, tmp_path):
    client = people.add_client(store)
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    with Store.open(store.path, write=False) as beside:
        (made,) = export(beside, [sweep_id], tmp_path / "out", computed)
        recorded(store, 1)

    assert forget(store, client.pseudonym).exports == (tmp_path / "out",)
    assert made.exists()


def test_an_export_from_a_store_nobody_can_write_says_that_it_is_not_noted(store, tmp_path, monkeypatch):
    sweep_id, told = stored(store), []
    monkeypatch.setattr("os.access", lambda path, mode: False)
    export(store, [sweep_id], tmp_path / "out", computed, told=told.append)

    assert "is not noted in it: forgetting a client will not name it" in told[0]


def test_the_descriptor_says_how_scale_and_proof_of_the_jig_stood_where_it_is_known(store, tmp_path):
    said = ("setback scale checked 2026-02-01, ± 0.3 mm", "jig proved 2026-03-04: within +0.1 ± 0.2 mm")
    sweep_id = stored(store)
    for folder, jig in (("known", said), ("not", ())):
        (made,) = export(
            store, [sweep_id], tmp_path / folder, lambda *one, jig=jig: replace(computed(*one), jig_said=jig)
        )
        package = json.loads((made / "datapackage.json").read_text())

        assert package.get("jig", []) == list(jig)
