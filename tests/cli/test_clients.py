"""Consents and dates from the command line, under pseudonyms."""

import datetime
import json

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.clients import people
from daq.keep.store import Store
from tests.keep.sweeps import stored


@pytest.fixture
def known(tmp_path):
    """A store with one client whose date is past and one whose is not; their pseudonyms, and the command."""
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        late = people.add_client(store, name="Ada Example", keep_until=datetime.date(2020, 1, 31))
        kept = people.add_client(store, name="Max Muster", keep_until=datetime.date(2120, 1, 31))

    def foreaft(*words):
        return CliRunner().invoke(main, [*words, "--store", str(path)])

    return late.pseudonym, kept.pseudonym, foreaft


def test_those_whose_date_has_passed_are_listed(known):
    late, kept, foreaft = known

    done = foreaft("clients", "--overdue")

    assert late in done.output
    assert f"foreaft forget {late}" in done.output
    assert kept not in done.output


def test_a_new_date_takes_a_client_off_the_list(known):
    late, _, foreaft = known

    assert foreaft("keep-until", late, "2125-06-30").exit_code == 0
    assert json.loads(foreaft("clients", "--overdue", "--json").stdout) == []


def test_the_last_word_on_a_consent_counts(known):
    late, _, foreaft = known

    foreaft("consent", late, "research", "given")
    given = json.loads(foreaft("clients", "--json").stdout)[0]
    foreaft("consent", late, "research", "withdrawn")
    withdrawn = json.loads(foreaft("clients", "--json").stdout)[0]

    assert given["consents"] == {"service": False, "research": True, "images": False}
    assert withdrawn["consents"]["research"] is False


def test_with_consent_to_research_withdrawn_the_exports_already_made_are_named(known, tmp_path):
    late, kept, foreaft = known
    with Store.open(tmp_path / "store.sqlite") as store:
        client_id = people.client_called(store, late).id
        sweep_ids = [stored(store, client_id=client_id, simulated=False) for _ in range(2)]
    foreaft("consent", late, "research", "given")
    for sweep_id in sweep_ids:
        assert foreaft("export", str(sweep_id), str(tmp_path / "study")).exit_code == 0
    listed = json.loads(foreaft("clients", "--json").stdout)
    service = foreaft("consent", late, "service", "withdrawn")
    research = foreaft("consent", late, "research", "withdrawn")
    nobody = foreaft("consent", kept, "research", "withdrawn")
    copy = tmp_path / "copy.sqlite"
    foreaft("backup", str(copy))
    copy.unlink()
    foreaft("consent", late, "research", "given")
    unknown = foreaft("consent", late, "research", "withdrawn")
    forgotten = foreaft("forget", late, "--yes")

    assert [one["exports"] for one in listed] == [[str(tmp_path / "study")], []]
    assert f"remove it by hand: {tmp_path / 'study'}" in research.stderr
    assert research.stderr.count("study") == 1
    assert "by hand" not in service.stderr + nobody.stderr
    said = f"of exports made from the backup {copy}, which is gone or cannot be read, nothing is known"
    assert said in unknown.stderr
    assert said in forgotten.stderr
    assert "nothing is known" not in research.stderr


@pytest.mark.parametrize("words", [("clients",), ("clients", "--json"), ("clients", "--overdue")])
def test_no_name_is_told(known, words):
    done = known[2](*words)

    assert done.exit_code == 0
    assert not [name for name in ("Ada", "Example", "Max", "Muster") if name in done.output]


def test_a_pseudonym_that_is_not_there_is_named(known):
    done = known[2]("consent", "R-NOBODY", "research", "given")

    assert done.exit_code == 4
    assert "R-NOBODY" in done.stderr


def test_one_client_entered_twice_is_joined_when_it_is_said_twice_and_parted_again(known):
    late, kept, foreaft = known

    asked = foreaft("join-clients", kept, late.lower())
    assert (asked.exit_code, "run the command again with --yes" in asked.stderr) == (0, True)
    assert len(json.loads(foreaft("clients", "--json").stdout)) == 2

    done = foreaft("join-clients", kept, late, "--yes")
    (row,) = json.loads(foreaft("clients", "--json").stdout)
    assert (done.exit_code, row["client"], row["also"], row["keep_until"]) == (0, kept, [late], "2020-01-31")
    assert f"foreaft part-clients {late}" in done.stderr
    assert f"also {late}" in foreaft("clients").stdout
    assert f"{late} is joined with {kept}, and both would go" in foreaft("forget", late).stderr
    again = foreaft("join-clients", kept, late, "--yes")
    assert (again.exit_code, f"{late} is joined with {kept}: name that one" in again.stderr) == (2, True)

    assert f"{late} is joined with {kept}; run it again with --yes" in foreaft("part-clients", late).stderr
    assert foreaft("part-clients", late, "--yes").exit_code == 0
    assert [row["keep_until"] for row in json.loads(foreaft("clients", "--json").stdout)] == [
        "2020-01-31",
        "2120-01-31",
    ]


@pytest.mark.parametrize("words", [("join-clients", "R-NOBODY", "R-NONE"), ("part-clients", "R-NOBODY", "--yes")])
def test_joining_nobody_is_refused_in_a_sentence(known, words):
    _, _, foreaft = known
    done = foreaft(*words)

    assert done.exit_code == 4
    assert "no client R-NOBODY" in done.stderr
