"""The commands around the store, on the store of a real demo."""

import asyncio
import json

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep import people
from daq.keep.store import Store
from daq.keep.tables import read_table
from daq.sweep.onset import LEAST_SQUARES
from tests.live.jig import demo


def foreaft(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("keeping")
    with demo(folder) as running:
        asyncio.run(running.run(None, by_hand=False, when_done=lambda: None))
    return folder / "demo.sqlite"


def test_a_whole_store_is_verified_with_exit_code_0(store):
    done = foreaft("verify", "--store", store, "--json")

    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["problems"] == []


def test_a_backup_restored_elsewhere_gives_the_same_answer(store, tmp_path):
    foreaft("backup", tmp_path / "copy.sqlite", "--store", store)
    done = foreaft("restore", tmp_path / "copy.sqlite", "--store", tmp_path / "new.sqlite")

    assert done.exit_code == 0, done.stderr
    answers = [foreaft("onset", 1, "--json", "--store", s).stdout for s in (store, tmp_path / "new.sqlite")]
    assert answers[0] == answers[1] != ""


def test_exported_and_imported_it_gives_the_same_answer(store, tmp_path):
    exported = foreaft("export", 1, tmp_path / "out", "--store", store)
    imported = foreaft("import", tmp_path / "out", "--store", tmp_path / "new.sqlite")

    assert (exported.exit_code, imported.exit_code) == (0, 0), exported.stderr + imported.stderr
    answers = [foreaft("onset", 1, "--json", "--store", s).stdout for s in (store, tmp_path / "new.sqlite")]
    assert answers[0] == answers[1] != ""


def test_an_archive_is_computed_again_and_what_is_done_is_not_done_twice(store, tmp_path):
    foreaft("export", 1, tmp_path / "out", "--store", store)
    first = foreaft("archive", tmp_path / "out", tmp_path / "res", "--json", "--processes", 1)
    second = foreaft("archive", tmp_path / "out", tmp_path / "res", "--json", "--processes", 1)

    assert first.exit_code == 0, first.stderr
    assert (json.loads(first.stdout)["done_before"], json.loads(second.stdout)["done_before"]) == (0, 1)


def test_an_archive_is_computed_again_by_another_method_and_by_none_there_is_not(store, tmp_path):
    foreaft("export", 1, tmp_path / "out", "--store", store)
    done = foreaft("archive", tmp_path / "out", tmp_path / "res", "--method", LEAST_SQUARES, "--processes", 1)
    refused = foreaft("archive", tmp_path / "out", tmp_path / "res", "--method", "guess/1", "--processes", 1)

    assert done.exit_code == 0, done.stderr
    assert read_table(tmp_path / "res", "results")["method"] == [LEAST_SQUARES]
    assert refused.exit_code == 2
    assert LEAST_SQUARES in refused.stderr


def test_forgetting_is_only_said_until_it_is_confirmed(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as made:
        pseudonym = people.add_client(made, name="Some Body").pseudonym

    said = foreaft("forget", pseudonym, "--store", path)
    still = foreaft("forget", pseudonym, "--store", path)
    gone = foreaft("forget", pseudonym, "--yes", "--store", path)
    after = foreaft("forget", pseudonym, "--store", path)

    assert (said.exit_code, still.exit_code, gone.exit_code) == (0, 0, 0), gone.stderr
    assert after.exit_code == 4
    assert "Some Body" not in said.stderr + gone.stderr


def test_what_is_kept_of_a_client_is_handed_over(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as made:
        pseudonym = people.add_client(made, name="Some Body").pseudonym

    done = foreaft("hand-over", pseudonym, tmp_path / "mine", "--store", path)

    assert done.exit_code == 0, done.stderr
    assert json.loads((tmp_path / "mine" / "client.json").read_text())["name"] == "Some Body"
