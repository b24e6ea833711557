"""What repeats teach, from the command line."""

import json

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.clients import people
from daq.keep.json_text import json_text, plain
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from daq.sweep.plan import Plan, out_and_back
from tests.keep.told import ridden, workshop


@pytest.fixture
def foreaft(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        workshop(store, days=2)
        ridden(store, 52.0)

    def run(*words):
        return CliRunner().invoke(main, ["panel", "--store", str(path), *words])

    return run


def test_the_spreads_of_a_workshop_in_words_and_numbers(foreaft):
    said, fields = foreaft(), json.loads(foreaft("--json").stdout)

    assert said.exit_code == 0
    assert "6 riders, 12 days, 12 sweeps" in said.stdout
    assert "repeatability limit, same rider, day and jig" in said.stdout
    assert "sweep 13 left out: it was ridden without a client" in said.stderr
    assert fields["repeats"] == fields["second_days"] == 6
    assert fields["method"] == "riders-days-sweeps/2"
    assert fields["left_out"].keys() == {"13"}
    assert "again on another day" in fields["next"]
    assert fields["verdicts"] == {"onset": 13}
    assert fields["slopes_n_per_mm"] == [0.4, 0.4, 0.4]
    assert "R-" not in said.stdout


def test_what_was_learned_is_another_workshops_beginning(foreaft, tmp_path):
    table = tmp_path / "spreads.json"

    assert foreaft("--write-prior", str(table), "--workshop", "by the river").exit_code == 0
    found = json.loads(foreaft("--prior", str(table), "--json").stdout)
    assert found["prior"] == "by the river"
    again = foreaft("--write-prior", str(table), "--workshop", "by the river")
    assert (again.exit_code, "is there already" in again.stderr) == (2, True)


def test_a_table_that_is_none_ends_the_command_in_a_sentence(foreaft, tmp_path):
    (tmp_path / "bad.json").write_text("[1, 2")
    (tmp_path / "other.json").write_text('{"kind": "a shopping list"}')

    for name in ("bad.json", "other.json", "missing.json"):
        done = foreaft("--prior", str(tmp_path / name))
        assert done.exit_code == 2
        assert name in done.stderr
        assert "Traceback" not in done.stderr


def test_sweeps_of_one_day_are_no_prior_of_how_days_differ(tmp_path):
    path = tmp_path / "few.sqlite"
    with Store.open(path) as store:
        workshop(store, riders=6, days=1)
    words = ["panel", "--store", str(path), "--write-prior", str(tmp_path / "p.json"), "--workshop", "by the river"]
    done = CliRunner().invoke(main, words)

    assert done.exit_code == 2
    assert "Nobody was tested on a second day here yet" in done.stderr
    assert not (tmp_path / "p.json").exists()


def test_what_leaves_the_workshop_rests_on_clients_who_agreed_to_research(tmp_path):
    path, table = tmp_path / "store.sqlite", tmp_path / "p.json"
    with Store.open(path) as store:
        workshop(store, riders=6, days=2, research=False)
        workshop(store, riders=5, days=2, research=True)
    words = ["panel", "--store", str(path)]
    done = CliRunner().invoke(main, [*words, "--write-prior", str(table), "--workshop", "by the river"])

    assert done.exit_code == 0
    assert "11 riders" in done.stdout, "the workshop itself learns from everybody"
    assert json.loads(table.read_text())["riders"] == 5
    with Store.open(path) as store:
        people.set_consent(store, people.clients(store)[-1].id, "research", False)
    again = CliRunner().invoke(main, [*words, "--write-prior", str(tmp_path / "q.json"), "--workshop", "by the river"])
    assert again.exit_code == 2
    assert "by the clients who agreed to research: 4 second days here are few" in again.stderr


def test_who_was_tested_once_is_named_to_come_again(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        workshop(store, riders=2, days=2)
        once = people.add_client(store)
        ridden(store, 52.0, client=once)
    said = CliRunner().invoke(main, ["panel", "--store", str(path)]).stdout

    assert f"could come again: {once.pseudonym}, tested on 2026-03-29 only" in said
    assert said.count("could come again") == 1


def test_a_store_that_says_nothing_yet_says_so(tmp_path):
    path = tmp_path / "empty.sqlite"
    Store.open(path).close()
    done = CliRunner().invoke(main, ["panel", "--store", str(path)])

    assert done.exit_code == 4
    assert "no sweep here says anything about an onset yet" in done.stderr


def test_the_repeat_of_a_clients_last_test_is_planned_for_a_person_and_for_the_daemon(tmp_path):
    path = tmp_path / "store.sqlite"
    plan = Plan(positions_mm=out_and_back(80.0, 30.0, 6), power_w=180.0)
    with Store.open(path) as store:
        client, other, untested = (people.add_client(store) for _ in range(3))
        for day in ("2026-03-01", "2026-03-08"):
            last = ridden(store, 52.0, client=client, day=day)
            with store.writing() as db:
                update_row(db, "sweeps", last, plan=json_text(plain(plan)))
        ridden(store, 52.0, client=other)

    def planned(*words):
        return CliRunner().invoke(main, ["panel", "--store", str(path), "--repeat", *words])

    said, body = planned(client.pseudonym.lower()), json.loads(planned(client.pseudonym, "--json").stdout)
    assert f"repeat of sweep {last} of {client.pseudonym}, ridden on 2026-03-08" in said.stdout
    assert "at 180 W, 90 rpm" in said.stdout
    assert (set(body["positions_mm"]), body["blinded"], body["seed"]) == (set(plan.positions_mm), True, last)
    for words, code, why in (
        (["R-NOBODY"], 4, "no client R-NOBODY"),
        ([untested.pseudonym], 2, "ride one first"),
        ([other.pseudonym], 2, "cannot be planned again: positions_mm"),
        ([client.pseudonym, "--archive", str(tmp_path)], 2, "does not go with --archive"),
        ([client.pseudonym, "--prior", "p.json"], 2, "does not go with --prior"),
        ([client.pseudonym, "--write-prior", "p.json", "--workshop", "W"], 2, "does not go with --write-prior"),
    ):
        done = planned(*words)
        assert (done.exit_code, why in done.stderr) == (code, True), done.stderr
