"""A folder takes one kind of export and one degree of coarseness; what is refused has changed nothing."""

import json
import shutil

import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.package import workers
from daq.keep.package.analyses import step_means
from daq.keep.package.archive import analyse
from daq.keep.package.bids_dataset import export_bids
from daq.keep.package.export import export
from daq.keep.package.one_kind import BIDS, PACKAGE, FolderTaken, refuse_mixed
from daq.keep.package.own_data import hand_over
from daq.keep.store import Store
from daq.keep.store.sessions import copies_of
from tests.keep.package.folders import Stopped, files
from tests.keep.sweeps import computed, stored

EXPORTS = {"package": export, "bids": export_bids}


def refused(store, how, sweep_id, folder, said, compute=computed, **options):
    """The refusal of an export, which leaves folder and store as they were."""
    before = files(folder)
    with pytest.raises(FolderTaken, match=said):
        EXPORTS[how](store, [sweep_id], folder, compute, **options)
    assert files(folder) == before
    with store.reading() as db:
        assert copies_of(db, [sweep_id], None) == []


@pytest.mark.parametrize("how", EXPORTS)
@pytest.mark.parametrize("first_is_coarse", [False, True])
def test_a_coarse_export_and_an_exact_one_go_into_folders_of_their_own(
    own_ridden_store, tmp_path, how, first_is_coarse
):
    out, said = tmp_path / "out", "undo that: add --coarse, or" if first_is_coarse else "hides nothing: give the coarse"
    with Store.open(own_ridden_store) as store:
        assert EXPORTS[how](store, [1], out, recompute_stored, is_coarse=first_is_coarse)
        refused(store, how, 2, out, said, recompute_stored, is_coarse=not first_is_coarse)

        for path in out.iterdir():  # as a kill leaves it: sweeps, and nothing that describes them
            if path.is_file():
                path.unlink()
        refused(store, how, 2, out, said, recompute_stored, is_coarse=not first_is_coarse)
        assert EXPORTS[how](store, [1, 2], out, recompute_stored, is_coarse=first_is_coarse)


@pytest.mark.parametrize(("first", "second"), [("package", "bids"), ("bids", "package")])
def test_two_kinds_go_into_folders_of_their_own(store, tmp_path, first, second):
    EXPORTS[first](store, [stored(store)], tmp_path / "out", computed)
    refused(store, second, stored(store), tmp_path / "out", r"overwrite its README\.md: give each its own folder")

    (tmp_path / "out" / "README.md").unlink()
    (tmp_path / "out" / {"package": "datapackage.json", "bids": "dataset_description.json"}[first]).unlink()
    refused(store, second, stored(store), tmp_path / "out", r"overwrite its README\.md: give each its own folder")


@pytest.mark.parametrize("how", EXPORTS)
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("README.md", "my own"),
        ("datapackage.json", '{"name": "bones", "resources": []}'),
        ("datapackage.json", "[]"),
        ("dataset_description.json", '{"Name": "bones", "GeneratedBy": [{"Name": "somebody"}]}'),
        ("participants.tsv", "participant_id\n"),
        ("client.json", "{}"),
    ],
)
def test_what_somebody_else_has_put_there_is_not_overwritten(store, tmp_path, how, name, content):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text(content)
    mine = {"package": ("dataset_description.json", "participants.tsv"), "bids": ("datapackage.json",)}

    if name in mine[how]:
        assert EXPORTS[how](store, [stored(store)], tmp_path / "out", computed)
        assert (tmp_path / "out" / name).read_text() == content
    else:
        refused(store, how, stored(store), tmp_path / "out", "give the export another folder")


@pytest.mark.parametrize("name", ["202601-photos", "20260101120000-photos-of-the-jig", "202601-R-1-12"])
def test_a_folder_of_somebody_elses_that_begins_with_a_date_is_no_sweep(tmp_path, name):
    (tmp_path / name).mkdir()

    refuse_mixed(tmp_path, PACKAGE, is_coarse=False, for_client=False)
    refuse_mixed(tmp_path, PACKAGE, is_coarse=True, for_client=False)
    refuse_mixed(tmp_path, BIDS, is_coarse=True, for_client=False)


def test_a_stopped_export_without_a_sweep_goes_on(store, tmp_path):
    """It is described, so that its folder is not empty."""

    def stopped(*_):
        raise Stopped

    for how, one in EXPORTS.items():
        with pytest.raises(Stopped):
            one(store, [stored(store)], tmp_path / how, stopped)
        assert (tmp_path / how / "README.md").exists()
        assert one(store, [stored(store)], tmp_path / how, computed)


@pytest.mark.parametrize("how", EXPORTS)
@pytest.mark.parametrize("first", ["client", "research"])
def test_what_is_for_a_client_stays_out_of_a_folder_for_research(store, tmp_path, how, first):
    """They need not have agreed to it. A sweep has the same name in both, and one that is there stays as it is."""
    second = {"client": "research", "research": "client"}[first]
    sweep_id = stored(store)
    EXPORTS[how](store, [sweep_id], tmp_path / "x", computed, purpose=first)
    before = files(tmp_path / "x")

    with pytest.raises(FolderTaken, match="give another folder"):
        EXPORTS[how](store, [sweep_id], tmp_path / "x", computed, purpose=second)

    assert files(tmp_path / "x") == before
    EXPORTS[how](store, [sweep_id], tmp_path / "x", computed, purpose=first)


@pytest.mark.parametrize("export", EXPORTS.values(), ids=EXPORTS)
def test_a_stopped_export_for_a_client_keeps_its_folder_for_them(store, tmp_path, export):
    """Also before its first sweep: the next one would be taken for one that may be published."""

    def stopped(*_):
        raise Stopped

    sweep_id = stored(store)
    with pytest.raises(Stopped):
        export(store, [sweep_id], tmp_path / "x", stopped, purpose="client")

    with pytest.raises(FolderTaken, match="is for a client"):
        export(store, [sweep_id], tmp_path / "x", computed)
    assert export(store, [sweep_id], tmp_path / "x", computed, purpose="client")


def test_no_export_goes_into_what_was_handed_over_to_a_client(store, tmp_path):
    """The name is in that folder: whoever gets the export would get it."""
    client = people.add_client(store, name="Ada Quill")
    hand_over(store, client.id, tmp_path / "own", computed)

    for how in EXPORTS:
        refused(store, how, stored(store), tmp_path / "own", "whose name is in it: give the export another folder")


def test_results_of_an_archive_go_into_no_export(store, tmp_path):
    (made,) = export(store, [stored(store)], tmp_path / "out", computed)
    shutil.copytree(tmp_path / "out", tmp_path / "before")
    for out in (tmp_path / "out", made, tmp_path / "out" / "results"):
        with pytest.raises(FolderTaken, match="give another OUT"):
            analyse(tmp_path / "out", step_means, out, method="m/1", mapper=workers.local(1))

    assert files(tmp_path / "out") == files(tmp_path / "before")
    for _ in range(2):
        analyse(tmp_path / "out", step_means, tmp_path / "results", method="m/1", mapper=workers.local(1))
    assert json.loads((tmp_path / "results" / "datapackage.json").read_text())["name"] == "foreaft-analysis"
    refused(store, "package", stored(store), tmp_path / "results", r"datapackage\.json that is of no data package made")
