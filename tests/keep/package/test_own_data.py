import json

import pytest

from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.errors import StoreError
from daq.keep.package.own_data import hand_over
from daq.keep.package.tables import read_table
from daq.keep.store import Store
from tests.keep.sweeps import computed, stored


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def test_a_client_gets_all_that_is_kept_and_nothing_of_others(store, tmp_path):
    client, other = people.add_client(store, name="Ada Quill"), people.add_client(store, name="Bo Reed")
    people.set_consent(store, client.id, "research", True)
    people.set_consent(store, client.id, "research", False)
    mine = [stored(store, client_id=client.id, simulated=False) for _ in range(2)]
    stored(store, client_id=other.id, simulated=False)
    store.put_result(mine[0], kind="decision", method="fitter/1", content={"why": "as Ada Quill wished"})
    path, *sweeps = hand_over(store, client.id, tmp_path / "mine", computed)

    content = json.loads(path.read_text())
    assert (content["name"], content["pseudonym"], content["sweeps"]) == ("Ada Quill", client.pseudonym, mine)
    assert [one["given"] for one in content["consents"]] == [True, False]
    assert len(sweeps) == 2
    assert any("shifted his hands" in text for text in read_table(sweeps[0], "events")["content"])
    assert other.pseudonym.encode() not in b"".join(
        file.read_bytes() for file in (tmp_path / "mine").rglob("*") if file.is_file()
    )


def test_a_client_without_a_sweep_gets_what_there_is(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")

    assert hand_over(store, client.id, tmp_path / "mine", computed) == [tmp_path / "mine" / "client.json"]
    with pytest.raises(StoreError, match="exists: give a new folder"):
        hand_over(store, client.id, tmp_path / "mine", computed)
    assert forget(store, client.pseudonym).exports == (tmp_path / "mine",)
