"""The commands around the store, on the store of a real demo."""

import errno
import json
import shutil
import sqlite3

import pytest
import uvloop

from daq.keep.clients import people
from daq.keep.package.permission import exportable, permitted
from daq.keep.package.tables import read_table
from daq.keep.store import Store
from daq.sweep.onset import LEAST_SQUARES
from tests.commands import foreaft
from tests.faults.rescue import make
from tests.keep.sweeps import stored
from tests.live.jig import demo


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("keeping")
    with demo(folder) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))
    return folder / "demo.sqlite"


@pytest.fixture(scope="module")
def answer(store):
    """What `foreaft onset` says of its sweep."""
    return foreaft("onset", 1, "--json", "--store", store).stdout


@pytest.fixture(scope="module")
def exported(store, tmp_path_factory):
    """Its sweep as exported; what a test changes it changes in a copy."""
    folder = tmp_path_factory.mktemp("exported") / "out"
    done = foreaft("export", 1, folder, "--store", store)
    assert done.exit_code == 0, done.stderr
    return folder


@pytest.fixture
def own_export(exported, tmp_path):
    return shutil.copytree(exported, tmp_path / "out")


def test_an_export_beside_a_sweep_that_cannot_be_read_any_more_says_so_with_exit_code_1(store, own_export):
    next(own_export.glob("*/datapackage.json")).write_text("{")
    done = foreaft("export", 1, own_export, "--store", store)

    assert done.exit_code == 1
    assert "move it away and export it again" in done.stderr


def test_a_full_disk_is_called_full_where_a_write_names_no_file(store, tmp_path, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("daq.keep.package.export.describe_folder", full)
    done = foreaft("export", 1, tmp_path / "out", "--store", store)

    assert done.exit_code == 4
    assert "no room left on the disk that was written to: free some and run the command again" in done.stderr


def test_a_whole_store_is_verified_with_exit_code_0(store):
    done = foreaft("verify", "--store", store, "--json")

    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["problems"] == []


def test_a_backup_restored_elsewhere_gives_the_same_answer(store, answer, tmp_path):
    foreaft("backup", tmp_path / "copy.sqlite", "--store", store)
    done = foreaft("restore", tmp_path / "copy.sqlite", "--store", tmp_path / "new.sqlite")

    assert done.exit_code == 0, done.stderr
    assert foreaft("onset", 1, "--json", "--store", tmp_path / "new.sqlite").stdout == answer != ""


def test_a_restore_over_a_store_that_cannot_be_opened_says_which_copies_nobody_knows_of(store, tmp_path):
    foreaft("backup", tmp_path / "copy.sqlite", "--store", store)
    (tmp_path / "new.sqlite").write_bytes(b"x" * 5000)
    done = foreaft("restore", tmp_path / "copy.sqlite", "--store", tmp_path / "new.sqlite")

    assert done.exit_code == 0, done.stderr
    assert done.stderr.count("neither forgetting a client nor withdrawing a consent will name them") == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("backup", "/proc/nowhere/copy"), "no file can be made in /proc/nowhere: No such file or directory; choose"),
        (
            ("export", 1, "/proc/nowhere"),
            "/proc/nowhere: No such file or directory; choose a place that can be written",
        ),
    ],
)
def test_a_place_that_cannot_be_written_is_said_in_one_sentence(store, words, said):
    done = foreaft(*words, "--store", store)

    assert done.exit_code == 4
    assert said in done.stderr


def test_exported_and_imported_it_gives_the_same_answer(exported, answer, tmp_path):
    imported = foreaft("import", exported, "--store", tmp_path / "new.sqlite")

    assert imported.exit_code == 0, imported.stderr
    assert foreaft("onset", 1, "--json", "--store", tmp_path / "new.sqlite").stdout == answer != ""


def test_the_format_asked_for_is_written(store, tmp_path):
    done = [foreaft("export", 1, tmp_path / one, "--store", store, "--format", one) for one in ("bids", "c3d")]

    assert [one.exit_code for one in done] == [0, 0], done[0].stderr + done[1].stderr
    assert "_tracksys-jig_" in done[0].output
    assert (tmp_path / "bids" / "participants.tsv").exists()
    assert len(list(tmp_path.glob("c3d/*/sweep.c3d"))) == 1


def test_terms_and_contributors_go_into_every_descriptor(store, tmp_path):
    named = ("--contributor", "Ada Quill <https://orcid.org/0000-0002-1825-0097>", "--contributor", "Lin Example")
    done = foreaft("export", 1, tmp_path / "out", "--store", store, "--licence", "CC-BY-4.0", *named)

    assert done.exit_code == 0, done.output
    for path in tmp_path.glob("out/**/datapackage.json"):
        package = json.loads(path.read_text())
        assert [one["name"] for one in package["licenses"]] == ["CC-BY-4.0"]
        assert [one["title"] for one in package["contributors"]] == ["Ada Quill", "Lin Example"]
    refused = foreaft("export", 1, tmp_path / "other", "--store", store, "--contributor", "<nobody>")
    assert (refused.exit_code, "--contributor: expected a name" in refused.stderr) == (2, True)
    assert not (tmp_path / "other").exists()


def test_an_archive_is_computed_again_and_what_is_done_is_not_done_twice(own_export, tmp_path):
    first = foreaft("archive", own_export, tmp_path / "res", "--json", "--processes", 1)
    second = foreaft("archive", own_export, tmp_path / "res", "--json", "--processes", 1)

    assert first.exit_code == 0, first.stderr
    assert (json.loads(first.stdout)["done_before"], json.loads(second.stdout)["done_before"]) == (0, 1)


def test_an_archive_is_computed_again_by_another_method_and_by_none_there_is_not(own_export, tmp_path):
    done = foreaft("archive", own_export, tmp_path / "res", "--method", LEAST_SQUARES, "--processes", 1)
    refused = foreaft("archive", own_export, tmp_path / "res", "--method", "guess/1", "--processes", 1)

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


def test_a_damaged_store_is_salvaged_into_a_new_one(store, tmp_path):
    damaged = tmp_path / "damaged.sqlite"
    damaged.write_bytes(store.read_bytes()[: store.stat().st_size * 2 // 3])
    done = foreaft("salvage", damaged, tmp_path / "new.sqlite")
    again = foreaft("salvage", damaged, tmp_path / "new.sqlite")

    assert done.exit_code == 1
    assert "the file is cut off: " in done.stderr
    assert foreaft("verify", "--store", tmp_path / "new.sqlite").exit_code == 0
    assert again.exit_code == 4
    assert "nothing is overwritten" in again.stderr


def test_a_backup_is_made_while_the_daemon_writes(store, tmp_path):
    with Store.open(store):
        done = foreaft("backup", tmp_path / "copy.sqlite", "--store", store)

    assert done.exit_code == 0, done.stderr


def test_of_all_sweeps_those_of_clients_who_have_not_agreed_are_left_out(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as made:
        agreed, silent = people.add_client(made), people.add_client(made)
        people.set_consent(made, agreed.id, "research", True)
        ids = [stored(made, client_id=client.id, simulated=False) for client in (agreed, silent)]
        made.begin_sweep(2, from_us=0, plan={}, rider={}, gradient_pct=0, calibration={}, client_id=agreed.id)
        with Store.open(path, write=False) as beside:
            _, while_ridden = exportable(beside, "research")
            alone, (refused,) = permitted(beside, [3], "client")
    with Store.open(path, write=False) as kept:
        may, left_out = exportable(kept, "research")
    everything = foreaft("export", "--all", tmp_path / "out", "--store", path)

    assert may == ids[:1]
    assert list(map(str, left_out)) == [
        f"{silent.pseudonym} (sweep 2) has not agreed to the use of records in research",
        "sweep 3 was cut off; name it by its number to export what there is",
    ]
    assert str(while_ridden[1]) == str(refused) == "sweep 3 is being ridden: export it when it has ended"
    assert alone == []
    assert everything.exit_code == 0, everything.stderr


def test_of_sweeps_named_those_that_may_not_leave_are_left_out_and_told(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as made:
        agreed, silent = people.add_client(made), people.add_client(made)
        people.set_consent(made, agreed.id, "research", True)
        for client in (silent, agreed):
            stored(made, client_id=client.id, simulated=False)
    both = foreaft("export", 1, 2, 2, tmp_path / "out", "--store", path)
    alone = foreaft("export", 1, tmp_path / "alone", "--store", path)
    unknown = foreaft("export", 2, 7, tmp_path / "unknown", "--store", path)

    assert both.exit_code == 1
    assert f"left out: {silent.pseudonym} (sweep 1) has not agreed to the use of records in research" in both.stderr
    assert [one.name[-6:] for one in (tmp_path / "out").iterdir() if one.is_dir()] == ["000002"]
    assert alone.exit_code == 2
    assert "left out: " in alone.stderr
    assert "no sweep to export" in alone.stderr
    assert (unknown.exit_code, "no sweep 7" in unknown.stderr) == (4, True)
    assert not (tmp_path / "alone").exists()
    assert not (tmp_path / "unknown").exists()


def test_a_folder_that_holds_something_else_is_refused_with_exit_code_2(store, own_export, tmp_path):
    before = sorted(own_export.rglob("*"))
    coarse = foreaft("export", 1, own_export, "--store", store, "--coarse")
    bids = foreaft("export", 1, own_export, "--store", store, "--format", "bids")
    results = foreaft("archive", own_export, own_export, "--processes", 1)
    again = foreaft("export", 1, own_export, "--store", store)

    assert (coarse.exit_code, bids.exit_code, results.exit_code, again.exit_code) == (2, 2, 2, 0)
    assert "give the coarse export another folder" in coarse.stderr
    assert "give each its own folder" in bids.stderr
    assert "give another OUT" in results.stderr
    assert sorted(own_export.rglob("*")) == before


def test_one_damaged_sweep_does_not_hold_up_the_import_of_the_others(own_export, tmp_path):
    (sound,) = [path for path in own_export.iterdir() if path.is_dir()]
    shutil.copytree(sound, own_export / "0-damaged")
    (own_export / "0-damaged" / "steps.parquet").write_bytes(b"PAR1")
    done = foreaft("import", own_export, "--store", tmp_path / "new.sqlite")

    assert done.exit_code == 4
    assert "steps.parquet is not what was exported" in done.stderr
    with Store.open(tmp_path / "new.sqlite", write=False) as opened:
        assert len(opened.sweeps()) == 1


def test_a_lost_list_of_what_copies_hold_is_a_loss(store, tmp_path):
    foreaft("backup", tmp_path / "copy.sqlite", "--store", store)
    db = sqlite3.connect(store, isolation_level=None)
    db.execute("DROP TABLE copied_sweeps")
    db.close()
    done = foreaft("salvage", store, tmp_path / "new.sqlite")

    assert done.exit_code == 1
    assert (
        "which sweeps each backup and export holds is lost: foreaft forget names each for every client" in done.stderr
    )
    assert "what is lost may be in a backup (foreaft restore) or an export (foreaft import)" in done.stderr


def test_a_client_is_handed_over_to_beside_the_daemon(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as daemons:
        pseudonym = people.add_client(daemons, name="Some Body").pseudonym
        done = foreaft("hand-over", pseudonym, tmp_path / "mine", "--store", path)

    assert done.exit_code == 0, done.stderr
    assert foreaft("forget", pseudonym, "--yes", "--store", path).stderr.count(str(tmp_path / "mine")) == 1


def test_an_archive_says_of_which_sweeps_data_is_lost_and_why_which_have_no_answer(tmp_path):
    """Of three sweeps one is whole, one has a second of scans damaged, and of one most of the scans are."""
    make(tmp_path / "store.sqlite", 3)
    with Store.open(tmp_path / "store.sqlite") as opened, opened.writing() as db:
        db.execute(
            "UPDATE chunks SET bytes = zeroblob(99) "
            "WHERE first_us BETWEEN 104900000 AND 105100000 OR first_us BETWEEN 152000000 AND 215000000"
        )
    assert foreaft("export", "--all", tmp_path / "out", "--store", tmp_path / "store.sqlite").exit_code == 0
    done = foreaft("archive", tmp_path / "out", tmp_path / "res", "--json", "--processes", 1)
    again = foreaft("archive", tmp_path / "out", tmp_path / "res", "--json", "--processes", 1)

    assert done.exit_code == 0, done.stderr
    found = read_table(tmp_path / "res", "results")
    whole, gap, mostly = found["sweep"]
    assert [bool(one) for one in found["verdict"]] == [True, True, False]
    assert found["lost"][0] == ""
    assert found["lost"][1].startswith("scans of 'board' from 105.0")
    assert found["lost"][2].count("scans of 'board'") > 40
    assert found["no_answer"][:2] == ["", ""]
    assert found["no_answer"][2] == "no position was finished, so there is nothing to answer from"
    assert "of these, with lost data (column lost): 2; without an answer (column no_answer): 1" in done.stderr
    assert f"{mostly}: no answer: no position was finished" in done.stderr
    for one in (done, again):
        said = json.loads(one.stdout)
        assert (said["lost"], said["no_answer"]) == ([gap, mostly], {mostly: found["no_answer"][2]})
    assert whole not in json.loads(done.stdout)["lost"]


def test_an_archive_that_cannot_be_computed_is_refused_in_one_sentence(own_export, tmp_path):
    (tmp_path / "rig.toml").write_text("name = 'no calibration'")
    words = ("archive", own_export, tmp_path / "res", "--processes", 1)
    (tmp_path / "empty").mkdir()
    none = foreaft("archive", tmp_path / "empty", tmp_path / "res")
    calibration = foreaft(*words, "--calibration", tmp_path / "rig.toml")
    address = foreaft(*words, "--cluster", "scheduler")

    assert (none.exit_code, calibration.exit_code, address.exit_code) == (4, 2, 4)
    assert "no exported sweep lies in" in none.stderr
    assert "is not a calibration" in calibration.stderr
    assert "is no address of a Dask scheduler" in address.stderr
