"""Who may be exported, and that no name leaves."""

import pandas
import pytest

from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.package.export import export
from daq.keep.package.permission import ExportRefused
from tests.keep.sweeps import computed, stored


def test_without_consent_to_research_a_real_riders_sweep_stays(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")
    sweep_id = stored(store, client_id=client.id, simulated=False)

    with pytest.raises(ExportRefused, match=f"{client.pseudonym} .* has not agreed"):
        export(store, [sweep_id], tmp_path / "out", computed)
    assert not (tmp_path / "out").exists()
    people.set_consent(store, client.id, "research", True)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed)
    assert client.pseudonym.lower() in made.name
    with pytest.raises(ExportRefused, match="belongs to no client"):
        export(store, [stored(store, simulated=False)], tmp_path / "out", computed)


@pytest.mark.parametrize(
    ("name", "text", "refused"),
    [
        ("Max Power", "maximum power_w, max_n and linear", False),  # the source of notifications is called power
        ("Lin", "linear", False),
        ("Bo Li", "bold", False),
        ("Max Power", "as Max wished", True),
        ("Max Power", "wished by\nMax", True),
        ("Bo Li", "bo_li.toml", True),
        ("Bo", "Bo was tired", True),
        ("Zoë D'Arc", "for zoë", True),
    ],
)
def test_a_name_is_found_as_a_word_and_not_in_the_programs_own_words(store, tmp_path, name, text, refused):
    client = people.add_client(store, name=name)
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"why": text})

    if refused:
        with pytest.raises(ExportRefused, match=r"name stands in results\.content"):
            export(store, [sweep_id], tmp_path / "out", computed)
    else:
        assert export(store, [sweep_id], tmp_path / "out", computed)


def test_what_the_program_says_of_a_rider_names_no_client_called_rider(store, tmp_path):
    client = people.add_client(store, name="Mark Rider")
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    answer = {"reasons": ["ask the rider to mark it"], "validity": [{"means": "the rider drifted", "cure": "mark"}]}
    store.put_result(sweep_id, kind="onset", method="onset/1", content=answer)

    assert export(store, [sweep_id], tmp_path / "out", computed)
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"reasons": [], "why": ["said\nRider"]})
    with pytest.raises(ExportRefused, match=r"name stands in results\.content"):
        export(store, [sweep_id], tmp_path / "again", computed)


def test_names_and_free_text_never_leave_for_research(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed, form="csv.gz")

    events = pandas.read_csv(made / "events.csv.gz")
    assert not events["content"].str.contains("shifted").any()
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"why": "as quill wished"})
    with pytest.raises(ExportRefused, match=r"a part of the client's name stands in results\.content"):
        export(store, [sweep_id], tmp_path / "again", computed)
    assert not [path for path in (tmp_path / "again").glob("[!.]*") if path.is_dir()]


def test_an_export_is_noted_for_the_day_the_client_is_to_be_forgotten(store, tmp_path):
    client = people.add_client(store)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    export(store, [sweep_id], tmp_path / "out", computed, purpose="client")

    assert forget(store, client.pseudonym).exports == (tmp_path / "out",)
