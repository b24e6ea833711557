"""Sweeps that were cut off get an end, and what was ridden is answered."""

import json

import pytest

from daq.keep.store import Store
from daq.keep.store.rows import update_row
from tests.commands import foreaft
from tests.faults.rescue import make


@pytest.fixture
def store(tmp_path):
    """Of two sweeps the second was cut off, after its last step."""
    make(tmp_path / "store.sqlite", 2)
    with Store.open(tmp_path / "store.sqlite") as store, store.writing() as db:
        update_row(db, "sweeps", 2, to_us=None, state=None)
        db.execute("DELETE FROM results WHERE sweep_id = 2")
    return tmp_path / "store.sqlite"


def listed(store):
    return json.loads(foreaft("sweeps", "--json", "--store", store).stdout)


def test_a_sweep_that_was_cut_off_is_closed_with_its_answer_and_the_others_stay(store):
    first, second = listed(store)
    assert (second["state"], second["onset_mm"]) == (None, None)
    done = foreaft("close", 2, "--store", store)

    assert done.exit_code == 0, done.output
    assert "sweep 2: finished, 5 positions finished" in done.output
    after = listed(store)
    assert after[0] == first
    assert (after[1]["state"], after[1]["onset_mm"]) == ("finished", pytest.approx(first["onset_mm"], abs=0.5))


def test_all_that_were_cut_off_are_closed_at_once(store):
    assert foreaft("close", "--all", "--store", store).exit_code == 0
    assert [row["state"] for row in listed(store)] == ["finished", "finished"]
    assert foreaft("close", "--all", "--store", store).output == ""


def test_one_that_has_ended_is_refused_before_any_is_closed(store):
    done = foreaft("close", 2, 1, "--store", store)

    assert (done.exit_code, done.stderr.strip()) == (2, "foreaft: sweep 1 has ended as finished; nothing is changed")
    assert listed(store)[1]["state"] is None


def test_without_a_number_those_are_named_that_could_be(store):
    done = foreaft("close", "--store", store)

    assert done.exit_code == 2
    assert "Cut off and not closed: 2" in done.stderr
