"""A folder of sweeps as a stranger gets it: README, data package, RO-Crate, two tables of all sweeps."""

import json

import pandas
import pytest

from daq.keep.again.derived import Derived
from daq.keep.package.export import export
from daq.keep.package.folder import describe_folder
from daq.keep.package.keys import FORMAT
from daq.keep.package.terms import CLOSED, FREE, LICENCES, contributor
from daq.sweep.validity.table import TESTS
from daq.values import Verdict
from tests.keep.sweeps import computed, stored

FORMS = ["parquet", "csv.gz"]
ADA = contributor("Ada Quill <https://orcid.org/0000-0002-1825-0097>")


def descriptor(folder):
    return json.loads((folder / "datapackage.json").read_text())


@pytest.mark.parametrize("form", FORMS)
def test_the_folder_is_a_valid_data_package_whatever_the_form_of_its_sweeps(store, tmp_path, form):
    import frictionless

    export(store, [stored(store), stored(store)], tmp_path / "out", computed, form=form)
    report = frictionless.validate(str(tmp_path / "out" / "datapackage.json"))

    assert report.valid, report
    assert [task.type for task in report.tasks] == ["table", "table", "json", "json"]
    assert [task.stats["rows"] for task in report.tasks[:2]] == [2, 2]


@pytest.mark.parametrize("form", FORMS)
def test_a_strangers_first_tables_hold_every_sweep_and_step(store, tmp_path, form):
    ids = [stored(store) for _ in range(2)]
    export(store, ids, tmp_path / "out", computed, form=form)
    sweeps, steps = (pandas.read_csv(tmp_path / "out" / f"{name}.csv") for name in ("sweeps", "all_steps"))

    answer, (step,) = computed(store, 1).onset, computed(store, 1).steps
    assert sweeps.mass_kg.tolist() == [71.5, 71.5]
    assert sweeps.simulated.tolist() == [True, True]
    assert sweeps.verdict.tolist() == ["onset", "onset"]
    assert sweeps.onset_mm.tolist() == [answer.onset_mm] * 2
    assert sweeps.lost.isna().all()
    assert steps.sweep.tolist() == sweeps.sweep.tolist() == [one.name for one in sorted((tmp_path / "out").glob("*/"))]
    assert steps.hand_load_n.tolist() == [step.hand_load_n] * 2
    assert steps.strokes.tolist() == [3, 3]


def test_a_sweep_more_is_less_than_a_kilobyte_more_in_the_folders_descriptor(store, tmp_path):
    sizes = []
    for _ in range(3):
        export(store, [stored(store)], tmp_path / "out", computed)
        sizes.append((tmp_path / "out" / "datapackage.json").stat().st_size)

    assert 0 < sizes[2] - sizes[1] <= 1000


def test_what_holds_for_all_sweeps_stands_in_the_folders_descriptor(store, tmp_path):
    export(store, [stored(store)], tmp_path / "out", computed, licence=FREE, contributors=[ADA])
    only = descriptor(tmp_path / "out")
    export(store, [stored(store)], tmp_path / "out", computed, licence=CLOSED, contributors=[ADA])
    both = descriptor(tmp_path / "out")

    assert (only["simulated"], only["version"]) == (True, FORMAT)
    assert "SIMULATED" in only["title"]
    assert only["licenses"] == [
        {"name": "CC0-1.0", "title": FREE.title, "path": "https://creativecommons.org/publicdomain/zero/1.0/"}
    ]
    assert both["contributors"] == [{"title": "Ada Quill", "path": "https://orcid.org/0000-0002-1825-0097"}]
    assert [one["name"] for one in both["licenses"]] == ["CC0-1.0", "other-closed"]


def test_the_readme_names_every_verdict_test_table_and_term(store, tmp_path):
    (made,) = export(store, [stored(store)], tmp_path / "out", computed, licence=FREE, contributors=[ADA])
    page = (tmp_path / "out" / "README.md").read_text()

    named = page.replace("raw_*", "raw_jig")
    for word in (*Verdict, *(one["name"] for one in descriptor(made)["resources"]), FREE.title, "Ada Quill"):
        assert word in named, word
    for test in TESTS:
        assert {"left_right": "left and right", "first_again": "first position again"}.get(
            test.__name__, test.__name__.replace("_", " ")
        ) in page
    assert "1 sweep. Some or all riders are SIMULATED" in page
    assert page.count("\n") <= 70, "one page"


def test_a_stranger_reads_what_the_weight_line_assumes_of_the_hands(store, tmp_path):
    """In the README, and where the column of the folder's own table is described."""
    export(store, [stored(store)], tmp_path / "out", computed)
    (steps,) = (one for one in descriptor(tmp_path / "out")["resources"] if one["name"] == "all_steps")
    said = {field["name"]: field["description"] for field in steps["schema"]["fields"]}

    page = " ".join((tmp_path / "out" / "README.md").read_text().split())
    assert "the mean force of the hands along the jig is 0 with a standard uncertainty of 20 N" in page
    assert "[unseen] of sweep.rig, else as 0 +- 20 N" in said["weight_line_mm"]
    assert "the hands' force as assumed there" in said["u_weight_line_mm"]


def test_a_collector_of_research_objects_reads_the_same(store, tmp_path):
    """RO-Crate 1.1, read by the library of its makers."""
    from rocrate.rocrate import ROCrate

    made = export(store, [stored(store), stored(store)], tmp_path / "out", computed, licence=FREE, contributors=[ADA])
    crate = ROCrate(tmp_path / "out")

    assert crate.metadata["conformsTo"] == "https://w3id.org/ro/crate/1.1"
    assert crate.root_dataset["license"][0].id == FREE.path
    assert [one["name"] for one in crate.root_dataset["author"]] == ["Ada Quill"]
    assert crate.root_dataset["datePublished"] == "2026-03-29"
    parts = {part.id: part.type for part in crate.root_dataset["hasPart"]}
    assert parts == {
        **dict.fromkeys(("datapackage.json", "README.md", "EXAMPLES.md", "sweeps.csv", "all_steps.csv"), "File"),
        **{f"{folder.name}/": "Dataset" for folder in made},
    }
    assert all((tmp_path / "out" / part).exists() for part in parts)
    assert {one.id for one in crate.get_entities()} >= {FREE.path, ADA["path"], "#foreaft"}


def test_a_sweep_that_cannot_be_read_is_told_and_the_folder_described_without_it(store, tmp_path):
    made = export(store, [stored(store), stored(store)], tmp_path / "out", computed, form="parquet")
    (made[0] / "steps.parquet").write_bytes(b"none")
    told = []
    describe_folder(tmp_path / "out", told.append)

    assert told[0].startswith(f"left out of the folder's own tables: {made[0].name}: ")
    assert told[0].endswith("move it away and export it again")
    assert [one["name"] for one in descriptor(tmp_path / "out")["resources"]] == ["sweeps", "all_steps", made[1].name]
    for table in ("sweeps", "all_steps"):
        assert set(pandas.read_csv(tmp_path / "out" / f"{table}.csv")["sweep"]) == {made[1].name}


@pytest.mark.parametrize("content", ["[]", "{}", '{"resources": 7}', '{"resources": [], "licenses": [{}]}'])
def test_a_sweep_whose_descriptor_is_none_is_told_and_the_folder_described_without_it(store, tmp_path, content):
    made, told = export(store, [stored(store), stored(store)], tmp_path / "out", computed), []
    (made[0] / "datapackage.json").write_text(content)
    describe_folder(tmp_path / "out", told.append)

    (said,) = told
    assert said.startswith(f"left out of the folder's own tables: {made[0].name}: ")
    assert "expected" in said
    assert pandas.read_csv(tmp_path / "out" / "sweeps.csv").sweep.tolist() == [made[1].name]


def test_a_sweep_whose_descriptor_says_no_more_than_its_files_is_described(store, tmp_path):
    (made,) = export(store, [stored(store)], tmp_path / "out", computed)
    listed = {"resources": descriptor(made)["resources"]}
    (made / "datapackage.json").write_text(json.dumps(listed))
    describe_folder(tmp_path / "out", pytest.fail)

    assert pandas.read_csv(tmp_path / "out" / "sweeps.csv").sweep.tolist() == [made.name]


def test_a_sweep_whose_descriptor_is_gone_is_told_whenever_the_folder_is_described(store, tmp_path):
    """Its tables are unverified without it. A folder of the stranger's own is no sweep."""
    ids, told = [stored(store), stored(store)], []
    first, second = export(store, ids, tmp_path / "out", computed)
    (first / "datapackage.json").unlink()
    (tmp_path / "out" / "figures").mkdir()

    assert export(store, ids, tmp_path / "out", computed, told=told.append) == []
    sweeps = pandas.read_csv(tmp_path / "out" / "sweeps.csv")

    assert sweeps.sweep.tolist() == [second.name]
    (said,) = [line for line in told if line.startswith("left out")]
    assert said.startswith(f"left out of the folder's own tables: {first.name}: ")
    assert "its datapackage.json is gone" in said
    assert said.endswith("move it away and export it again")


@pytest.mark.parametrize("form", FORMS)
def test_a_sweep_without_an_answer_is_listed_without_one(store, tmp_path, form):
    export(store, [stored(store)], tmp_path / "out", lambda *_: Derived(losses=("its beginning",)), form=form)
    sweeps = pandas.read_csv(tmp_path / "out" / "sweeps.csv")

    assert sweeps.verdict.isna().all()
    assert sweeps.lost.tolist() == ["its beginning"]
    assert len(pandas.read_csv(tmp_path / "out" / "all_steps.csv")) == 0


@pytest.mark.parametrize("words", ["", "<https://orcid.org/1>", "Ada <ftp://x>", "Ada\nQuill", "Ada <https://a b>"])
def test_a_contributor_is_a_name_and_an_address(words):
    with pytest.raises(ValueError, match=r"expected a name|U\+000A|line break|character"):
        contributor(words)


def test_licences_go_by_the_names_of_the_open_definition():
    # licenses.opendefinition.org, which the Data Package standard names for `licenses.name`; from memory
    assert list(LICENCES) == ["CC0-1.0", "CC-BY-4.0", "ODC-BY-1.0", "ODbL-1.0", "other-closed"]
    assert contributor(" Ada Quill ") == {"title": "Ada Quill"}
