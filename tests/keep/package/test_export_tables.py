"""What an exported sweep holds: every cell against its schema, and the same numbers from every reader."""

import hashlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import duckdb
import jsonschema
import numpy as np
import pandas
import pyarrow.parquet as parquet
import pytest

from daq.items import SWEEP_BEGUN
from daq.keep.again.derived import Derived, exclusions
from daq.keep.again.recompute import recompute, recompute_stored
from daq.keep.again.stored import calibration_of, items_of, rig_of
from daq.keep.package import keys
from daq.keep.package.computed_tables import RESULTS, VERDICTS, derived_tables
from daq.keep.package.export import export
from daq.keep.package.tables import read_table, write_table
from daq.keep.store import Store
from daq.sweep.contract import contract
from daq.sweep.onset import onset
from daq.sweep.steps_csv import read_table as read_steps
from daq.sweep.validity.judged import judged
from daq.values import Loads, Result, Setting, Verdict
from tests.keep.jig import pedalling
from tests.keep.sweeps import computed
from tests.sweep.tables import onset_json
from tests.sweep.validity.sweeps import ON_THE_JIG, ride

VERSIONS = Path(__file__).parent / "table_versions.json"
TABLES = {
    "sweep", "raw_jig", "notifications", "hellos", "events", "channels", "calibrations", "results",
    "steps", "strokes", "exclusions", "loads", "onset", "validity", "clocks", "methods",
}  # fmt: skip


@pytest.mark.parametrize("form", ["csv.gz", "parquet"])
def test_a_sweep_is_a_valid_data_package_to_the_last_cell_and_key(packages, form):
    # in a process of its own: it leaves packed files open
    command = [sys.executable, "-m", "frictionless", "validate", packages[form] / "datapackage.json", "--json"]
    report = json.loads(subprocess.run(command, capture_output=True, text=True, check=False).stdout)

    assert [error for task in report["tasks"] for error in task["errors"]] == []
    assert report["valid"]
    assert report["stats"]["tasks"] == len(TABLES)


def test_every_value_and_key_of_a_parquet_export_fits_its_schema(packages):
    # frictionless takes the values from pandas; here it gets them from pyarrow
    made, resources = packages["parquet"], []
    for one in json.loads((made / "datapackage.json").read_text())["resources"]:
        table = parquet.read_table(made / one["path"])
        assert table.column_names == [field["name"] for field in one["schema"]["fields"]]
        assert len(table) > 0
        resources.append({"name": one["name"], "data": table.to_pylist(), "schema": one["schema"]})

    assert problems(resources) == []
    (strokes,) = [one for one in resources if one["name"] == "strokes"]
    strokes["data"][1]["stroke"] = 1
    strokes["data"][3]["step"] = 9
    assert {kind for kind, *_ in problems(resources)} == {"primary-key", "foreign-key"}


def test_every_verdict_and_result_has_its_meaning_in_the_schema():
    assert list(VERDICTS) == [str(one) for one in Verdict]
    assert list(RESULTS) == [str(one) for one in Result]


def problems(resources):
    import frictionless

    found = frictionless.Package.from_descriptor({"name": "one", "resources": resources}).validate()
    return found.flatten(["type", "rowNumber", "fieldName", "note"])


@pytest.mark.parametrize("table", sorted(TABLES))
def test_what_a_column_holds_is_what_its_schema_says(packages, table):
    """JSON against its JSON Schema; a version of the schema that changes when a column does."""
    made = packages["parquet"]
    (one,) = [one for one in json.loads((made / "datapackage.json").read_text())["resources"] if one["name"] == table]
    schema = one["schema"]
    for field in schema["fields"]:
        assert ("jsonSchema" in field) == (field["type"] in ("object", "array")), field["name"]
        if "jsonSchema" in field:
            for text in read_table(made, table)[field["name"]]:
                jsonschema.Draft202012Validator.check_schema(field["jsonSchema"])
                if text is not None:
                    jsonschema.validate(json.loads(text), field["jsonSchema"])
    columns = [f"{field['name']} {field['type']} {field.get('unit', '')}".strip() for field in schema["fields"]]
    written = json.loads(VERSIONS.read_text())
    assert written[f"{table}/{schema['version']}"] == columns, "columns changed: give the table another version"


def test_the_package_has_another_version_when_a_table_has():
    # semver.org: what a version names does not change
    written = json.loads(VERSIONS.read_text())["package"]
    assert written.get(keys.FORMAT) == keys.VERSIONS, "a table has another version: give the package another, too"


def test_channels_lead_from_counts_to_loads(ridden_store, tmp_path):
    """By the formula that stands in the schema, with nothing of ours: counts, coefficients and zero of the tables."""
    with Store.open(ridden_store, write=False) as store:
        (made,) = export(store, [1], tmp_path / "out", recompute_stored, form="parquet")
    raw, loads = (pandas.read_parquet(made / f"{table}.parquet") for table in ("raw_board", "loads"))
    channels = pandas.read_parquet(made / "channels.parquet")

    assert set(channels.role) == {"hands", "saddle", "tilt"}
    for row in channels.to_dict("records"):
        p = np.polynomial.Polynomial(json.loads(row["coefficients"]))
        value = p(raw[row["count"]]) - (0.0 if row["role"] == "tilt" else p(row["zero_counts"]))
        assert np.abs(value - loads[row["load"]]).max() <= 0.002
        assert row["unit"] == ("deg" if row["role"] == "tilt" else "N")


def test_the_answer_carries_how_scale_and_proof_of_the_jig_stood(ridden_store):
    proved = "jig proved 2025-03-04: a known onset found within +0.1 ± 0.2 mm"
    with Store.open(ridden_store, write=False) as store:
        derived = recompute_stored(store, 1)
        items = [
            replace(one, content={**one.content, "proof": proved}) if getattr(one, "kind", "") == SWEEP_BEGUN else one
            for one in items_of(store, store.sweep(1))
        ]
        again = recompute(items, rig_of(store.session(1)), calibration_of(store, store.sweep(1)))

    for found, said in ((derived, ["setback scale not checked"]), (again, ["setback scale not checked", proved])):
        (onset,) = [one for one in derived_tables("one", found) if one.name == "onset"]
        (jig,) = (column for field, column in zip(onset.fields, onset.columns, strict=True) if field.name == "jig")
        assert json.loads(jig[0]) == said
        assert list(found.onset.evidence[-len(said) :]) == said


def test_the_descriptor_follows_version_2_of_the_standard(packages):
    # datapackage.org/standard: $schema of package and resource, `type: table`, licences by Open Definition name,
    # hash with its algorithm; `unit` is a custom property, UCUM codes.
    made = packages["parquet"]
    package = json.loads((made / "datapackage.json").read_text())
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    (licence,) = package["licenses"]
    assert licence["name"] == "CC0-1.0"
    assert package["simulated"] is True
    assert "SIMULATED" in package["title"]
    assert {one["name"] for one in package["resources"]} == TABLES
    for one in package["resources"]:
        assert one["$schema"] == "https://datapackage.org/profiles/2.0/dataresource.json"
        assert one["type"] == "table"
        assert re.fullmatch("sha256:[0-9a-f]{64}", one["hash"])
        content = (made / one["path"]).read_bytes()
        assert one["hash"][7:] == hashlib.sha256(content).hexdigest()
        assert one["schema"]["missingValues"] == [""]
        for field in one["schema"]["fields"]:
            unit = {"_n": "N", "_mm": "mm", "_deg": "deg", "_nm": "N.m", "_us": "us", "_s": "s", "_w": "W"}
            ending = re.search("_(n|mm|deg|nm|us|s|w)$", field["name"])
            if ending and "_per_" not in field["name"]:
                assert field["unit"] == unit[ending.group(0)], field["name"]


@pytest.mark.parametrize("table", ["strokes", "loads", "raw_jig", "steps"])
def test_pandas_duckdb_and_polars_read_the_same_numbers_from_both_forms(packages, table):
    import polars

    parquet, csv = packages["parquet"] / f"{table}.parquet", packages["csv.gz"] / f"{table}.csv.gz"
    readings = [
        pandas.read_parquet(parquet),
        pandas.read_csv(csv),
        duckdb.sql(f"SELECT * FROM '{parquet}'").df(),
        duckdb.sql(f"SELECT * FROM '{csv}'").df(),
        polars.read_parquet(parquet).to_pandas(),
        polars.read_csv(csv, infer_schema_length=None).to_pandas(),
    ]

    derived = computed(None, 0)
    if table == "loads":
        assert 0 < np.abs(readings[0]["hands_n"] - derived.loads[0].hands_n).max() <= 0.002
        assert np.abs(readings[0]["cell_nose_n"] - derived.loads[0].cells_n[:, 1]).max() <= 0.002
        assert np.nanmax(np.abs(readings[0]["tilt_deg"] - derived.loads[0].tilt_deg)) <= 0.00013
        assert np.abs(readings[0]["t_s"] - derived.loads[0].t_s).max() <= 0.5e-6
    if table == "strokes":
        assert readings[0]["hands_n"].tolist() == [stroke.hands_n for stroke in derived.strokes]
    for other in readings[1:]:
        assert list(other.columns) == list(readings[0].columns)
        for column in readings[0].columns[1:]:
            a, b = (frame[column].to_numpy(dtype=float, na_value=np.nan) for frame in (readings[0], other))
            assert np.array_equal(a, b, equal_nan=True), column


def test_raw_is_packed_by_differences_and_zstd(packages):
    meta = parquet.ParquetFile(packages["parquet"] / "raw_jig.parquet").metadata.row_group(0)
    for i in range(1, meta.num_columns):
        assert (
            meta.column(i).encodings[-1] == "DELTA_BINARY_PACKED" or "DELTA_BINARY_PACKED" in meta.column(i).encodings
        )
        assert meta.column(i).compression == "ZSTD"


def test_loads_scan_by_scan_weigh_little_more_than_the_counts_they_come_from(tmp_path):
    """Three minutes at 100 Hz, noise of 0.02 N on a pedalling rider; unrounded they would weigh seven bytes a
    number (zstd finds nothing in the last 40 bits of a noisy double)."""
    scans = pedalling(scans=20_000, rate_hz=100, channels=2).counts / 2000.0
    loads = Loads(
        np.arange(20_000) / 100, scans[:, 0], scans[:, 1], np.zeros(20_000), scans, np.zeros(20_000, np.uint8)
    )
    (table,) = [one for one in derived_tables("one", Derived(loads=(loads,), cells=("a", "b"))) if one.name == "loads"]
    path = write_table(table, tmp_path, "parquet")

    assert path.stat().st_size < 2.6 * 4 * 20_000


def test_missing_is_empty_and_never_a_number(packages):
    made = packages["csv.gz"]
    steps = pandas.read_csv(made / "steps.csv.gz")
    clocks = pandas.read_csv(made / "clocks.csv.gz")
    assert steps[["se_n", "u_hand_load_n"]].isna().all(axis=None)
    assert clocks.loc[clocks.source == "power", "error_ms"].isna().all()


SET_WRONG = {
    "bar's height": {"bar_y_mm": 20.0},
    "reach": {"bar_x_mm": 9.0},
    "saddle's height": {"saddle_height_mm": 12.0},
    "saddle's tilt": {"saddle_tilt_deg": -2.0},
    "": {},
}


@pytest.mark.parametrize("wrong", SET_WRONG)
def test_a_table_of_steps_is_judged_by_foreaft_onset_as_the_sweep_was(wrong, tmp_path):
    """Saddle and bar go along evenly, but for one position."""
    steps = [set_as_planned(step) for step in ride()]
    off = steps[5].setting
    off = replace(off, **{name: getattr(off, name) + by for name, by in SET_WRONG[wrong].items()})
    steps[5] = replace(steps[5], setting=off, u_setback_mm=0.3)
    answer = judged(onset(steps), steps, ON_THE_JIG)
    (table,) = [one for one in derived_tables("one", Derived(steps=tuple(steps))) if one.name == "steps"]

    text = write_table(table, tmp_path, "csv").read_text()

    read = read_steps(text).steps
    for name in ("setback_mm", "hand_load_n", "t_min", "weight_line_mm", "u_setback_mm", "setting"):
        assert [getattr(step, name) for step in read] == [getattr(step, name) for step in steps], name
    of_sweep, of_table = (
        {one["test"]: one for one in content["validity"]} for content in (contract(answer), onset_json(text)[0])
    )
    for test in ("reach", "saddle tilt"):
        assert of_table[test] == of_sweep[test]
    failed = {test for test in ("reach", "saddle tilt") if of_sweep[test]["verdict"] == "failed"}
    assert failed == ({"saddle tilt"} if "tilt" in wrong else {"reach"} if wrong else set())


def set_as_planned(step):
    """Reach and drop kept."""
    return replace(step, setting=Setting(720.0, 540.0 - step.setback_mm, 660.0, -1.0))


def test_what_nobody_said_of_how_saddle_and_bar_were_set_is_empty(packages):
    steps = pandas.read_csv(packages["csv.gz"] / "steps.csv.gz")

    columns = [
        "weight_line_mm",
        "u_weight_line_mm",
        "u_setback_mm",
        "saddle_height_mm",
        "bar_x_mm",
        "bar_y_mm",
        "saddle_tilt_deg",
    ]
    assert steps[columns].isna().all(axis=None)


def test_each_stroke_left_out_has_a_reason():
    reasons = {number: reason for number, _, reason in exclusions(computed(None, 0))}

    assert reasons == {
        3: "sensor fault",
        4: "burst, or effort outside its band",
        6: "between steps: moving, settling, or a step left out",
    }
