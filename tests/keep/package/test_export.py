import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

import duckdb
import frictionless
import jsonschema
import numpy as np
import pandas
import polars
import pyarrow.parquet as parquet
import pytest

from daq.items import LOST, Event
from daq.keep.again.derived import Derived, exclusions
from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.package.computed_tables import RESULTS, VERDICTS, derived_tables
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.package.permission import ExportRefused
from daq.keep.package.tables import read_table, write_table
from daq.keep.package.terms import FREE
from daq.keep.store import Store
from daq.values import Loads, Result, Samples, Verdict
from tests.faults.rescue import make
from tests.keep.jig import concatenated, pedalling, recorded, same
from tests.keep.sweeps import computed, stored

VERSIONS = Path(__file__).parent / "table_versions.json"
FORMS = ["parquet", "csv.gz"]
TABLES = {
    "sweep", "raw_jig", "notifications", "hellos", "events", "channels", "calibrations", "results",
    "steps", "strokes", "exclusions", "loads", "onset", "validity", "clocks", "methods",
}  # fmt: skip


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "store.sqlite") as opened:
        yield opened


def exported(store, folder, form="parquet", **options):
    (made,) = export(store, [stored(store)], folder, computed, form=form, **options)
    return made


def files(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_sweep_as_csv_is_a_valid_data_package_to_the_last_cell_and_key(store, tmp_path):
    made = exported(store, tmp_path / "out", "csv.gz")
    command = [sys.executable, "-m", "frictionless", "validate", str(made / "datapackage.json"), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)

    report = json.loads(done.stdout)
    assert [error for task in report["tasks"] for error in task["errors"]] == []
    assert report["valid"]
    assert report["stats"]["tasks"] == len(TABLES)


def test_every_value_and_key_of_a_parquet_export_fits_its_schema(store, tmp_path):
    # frictionless reads Parquet through pandas, which makes floats of integers with gaps: it is given the rows.
    made = exported(store, tmp_path / "out")
    resources = []
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
    found = frictionless.Package.from_descriptor({"name": "one", "resources": resources}).validate()
    return found.flatten(["type", "rowNumber", "fieldName", "note"])


@pytest.mark.parametrize("table", sorted(TABLES))
def test_what_a_column_holds_is_what_its_schema_says(store, tmp_path, table):
    """JSON against its JSON Schema; a version of the schema that changes when a column does."""
    made = exported(store, tmp_path / "out")
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


def test_channels_lead_from_counts_to_loads(tmp_path):
    """By the formula that stands in the schema, with nothing of ours: counts, coefficients and zero of the tables."""
    make(tmp_path / "store.sqlite", 1)
    with Store.open(tmp_path / "store.sqlite") as store:
        (made,) = export(store, [1], tmp_path / "out", recompute_stored, form="parquet")
    raw, loads = (pandas.read_parquet(made / f"{table}.parquet") for table in ("raw_board", "loads"))
    channels = pandas.read_parquet(made / "channels.parquet")

    assert set(channels.role) == {"hands", "saddle", "tilt"}
    for row in channels.to_dict("records"):
        p = np.polynomial.Polynomial(json.loads(row["coefficients"]))
        value = p(raw[row["count"]]) - (0.0 if row["role"] == "tilt" else p(row["zero_counts"]))
        assert np.abs(value - loads[row["load"]]).max() <= 0.002
        assert row["unit"] == ("deg" if row["role"] == "tilt" else "N")


def test_the_descriptor_follows_version_2_of_the_standard(store, tmp_path):
    # datapackage.org/standard: $schema of package and resource, `type: table`, licences by Open Definition name,
    # hash with its algorithm; `unit` is a custom property, UCUM codes.
    made = exported(store, tmp_path / "out", licence=FREE)

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
        assert (one["bytes"], one["hash"][7:]) == (len(content), hashlib.sha256(content).hexdigest())
        assert one["schema"]["missingValues"] == [""]
        for field in one["schema"]["fields"]:
            unit = {"_n": "N", "_mm": "mm", "_deg": "deg", "_nm": "N.m", "_us": "us", "_s": "s", "_w": "W"}
            ending = re.search("_(n|mm|deg|nm|us|s|w)$", field["name"])
            if ending and "_per_" not in field["name"]:
                assert field["unit"] == unit[ending.group(0)], field["name"]


@pytest.mark.parametrize("form", FORMS)
def test_the_same_sweep_gives_the_same_bytes(store, tmp_path, form):
    sweep_id = stored(store)
    for folder in ("first", "second"):
        export(store, [sweep_id], tmp_path / folder, computed, form=form)

    assert files(tmp_path / "first") == files(tmp_path / "second")


@pytest.mark.parametrize("table", ["strokes", "loads", "raw_jig", "steps"])
def test_pandas_duckdb_and_polars_read_the_same_numbers_from_both_forms(store, tmp_path, table):
    made = {form: exported(store, tmp_path / form, form) for form in FORMS}
    parquet, csv = made["parquet"] / f"{table}.parquet", made["csv.gz"] / f"{table}.csv.gz"
    readings = [
        pandas.read_parquet(parquet),
        pandas.read_csv(csv),
        duckdb.sql(f"SELECT * FROM '{parquet}'").df(),
        duckdb.sql(f"SELECT * FROM '{csv}'").df(),
        polars.read_parquet(parquet).to_pandas(),
        polars.read_csv(csv, infer_schema_length=None).to_pandas(),
    ]

    derived = computed(store, 0)
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


def test_raw_is_packed_by_differences_and_zstd(store, tmp_path):
    made = exported(store, tmp_path / "out")
    meta = parquet.ParquetFile(made / "raw_jig.parquet").metadata.row_group(0)
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


def test_each_stroke_left_out_has_a_reason():
    reasons = {number: reason for number, _, reason in exclusions(computed(None, 0))}

    assert reasons == {
        3: "sensor fault",
        4: "burst, or effort outside its band",
        6: "between steps: moving, settling, or a step left out",
    }


def test_missing_is_empty_and_never_a_number(store, tmp_path):
    made = exported(store, tmp_path / "out", "csv.gz")

    steps = pandas.read_csv(made / "steps.csv.gz")
    clocks = pandas.read_csv(made / "clocks.csv.gz")
    assert steps[["se_n", "u_hand_load_n"]].isna().all(axis=None)
    assert clocks.loc[clocks.source == "power", "error_ms"].isna().all()


@pytest.mark.parametrize("form", FORMS)
def test_import_brings_back_every_item_to_the_last_bit(store, tmp_path, form):
    sweep_id = stored(store)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed, purpose="client", form=form)

    with Store.open(tmp_path / "other.sqlite") as other:
        new = other.sweep(import_sweep(other, made))
        old, session = store.sweep(sweep_id), other.session(new.session_id)
        assert (new.from_us, new.to_us, new.state, new.gradient_pct, new.plan) == (
            old.from_us, old.to_us, old.state, old.gradient_pct, old.plan,
        )  # fmt: skip
        assert other.calibration(new.calibration_id) == store.calibration(old.calibration_id)
        assert (session.rig, session.simulated) == (store.session(old.session_id).rig, True)
        assert [(one.kind, one.method, one.made_utc, one.content) for one in other.results(new.id)] == [
            (one.kind, one.method, one.made_utc, one.content) for one in store.results(sweep_id)
        ]
        before = list(store.read_items(old.session_id, old.from_us, old.to_us))
        after = list(other.read_items(new.session_id, new.from_us, new.to_us))
        assert same(concatenated(after), concatenated(before))
        points = [[item for item in items if not isinstance(item, Samples)] for items in (before, after)]
        assert points[0] == points[1]
        with pytest.raises(StoreError, match="is in this store already, as sweep 1"):
            import_sweep(other, made)


def test_a_changed_file_is_not_imported_and_leaves_nothing_behind(store, tmp_path):
    made = exported(store, tmp_path / "out")
    content = (made / "raw_jig.parquet").read_bytes()
    (made / "raw_jig.parquet").write_bytes(content[:-1] + b"x")

    with Store.open(tmp_path / "other.sqlite") as other:
        with pytest.raises(StoreDamaged, match=r"raw_jig\.parquet is not what was exported"):
            import_sweep(other, made)
        assert other.sessions() == []


@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("../store.sqlite", "expected a path within the folder"),
        ("/etc/passwd", "expected a path within the folder"),
        ("missing.parquet", "is missing"),
    ],
)
def test_a_descriptor_that_points_elsewhere_is_refused(store, tmp_path, path, says):
    made = exported(store, tmp_path / "out")
    package = json.loads((made / "datapackage.json").read_text())
    package["resources"][0]["path"] = path
    (made / "datapackage.json").write_text(json.dumps(package))

    with pytest.raises(StoreDamaged, match=says):
        import_sweep(store, made)


def test_nothing_is_overwritten_and_what_is_there_is_said(store, tmp_path):
    sweep_id, told = stored(store), []
    (made,) = export(store, [sweep_id], tmp_path / "out", computed)
    before = files(tmp_path / "out")
    store.put_result(sweep_id, kind="onset", method="grid/9", content={})

    assert export(store, [sweep_id], tmp_path / "out", computed, told=told.append) == []
    assert files(tmp_path / "out") == before
    assert told == [f"{made} is there already and stays as it is"]


class Stopped(BaseException):
    """As a key on the keyboard stops an export."""


def test_an_export_that_was_stopped_is_described_and_taken_up_again(store, tmp_path):
    ids = [stored(store) for _ in range(3)]

    def stopped(store, sweep_id):
        if sweep_id == ids[1]:
            raise Stopped
        return computed(store, sweep_id)

    with pytest.raises(Stopped):
        export(store, ids, tmp_path / "out", stopped)
    first = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert (tmp_path / "out" / "README.md").exists()
    assert len([one for one in first["resources"] if "/" in one["path"]]) == 1
    made = export(store, ids, tmp_path / "out", computed)
    export(store, ids, tmp_path / "whole", computed)

    assert len(made) == 2
    assert files(tmp_path / "out") == files(tmp_path / "whole")


def test_one_sweep_that_cannot_be_exported_is_told_and_the_others_go_on(store, tmp_path):
    ids, told = [stored(store) for _ in range(3)], []
    store.put(store.sweep(ids[1]).session_id, [pedalling(scans=9, channels=3, from_us=3_000_000)])

    made = export(store, ids, tmp_path / "out", computed, told=told.append)
    assert len(made) == 2
    assert told == [f"left out: sweep {ids[1]}: 'jig' changed from 3 to 5 channels within the sweep"]
    with pytest.raises(ValueError, match="changed from 3 to 5 channels"):
        export(store, ids, tmp_path / "again", computed)


def test_a_damaged_chunk_is_left_out_of_the_raw_with_an_event_in_its_place_and_told(store, tmp_path):
    sweep_id, told = stored(store), []
    sound = concatenated(list(store.read_items(1, 1_000_000, 5_500_000))).received_us.tolist()
    with store.writing() as db:
        (first_us, last_us) = db.execute("SELECT first_us, last_us FROM chunks WHERE id = 3").fetchone()
        db.execute("UPDATE chunks SET bytes = zeroblob(9) WHERE id = 3")
    (made,) = export(store, [sweep_id], tmp_path / "out", unreadable, told=told.append)

    scans = read_table(made, "raw_jig")["received_us"]
    assert scans == [at_us for at_us in sound if not first_us <= at_us <= last_us]
    gaps = [one for one in zip(*read_table(made, "events").values(), strict=True) if one[2] == LOST]
    assert len(gaps) == 1
    assert gaps[0][1] // 1_000_000 == 2
    assert json.loads((made / "datapackage.json").read_text())["lost"] == ["the rig is lost"]
    assert told == [f"{made.name}: exported without what is lost of it: the rig is lost"]
    with Store.open(tmp_path / "other.sqlite") as other:
        again = import_sweep(other, made)
        found = list(other.read_items(other.sweep(again).session_id))
    assert [item.kind for item in found if isinstance(item, Event)].count(LOST) == 1


def unreadable(store, sweep_id):
    """Of this sweep nothing can be computed."""
    raise StoreDamaged("the rig is lost")


def test_a_store_is_exported_beside_the_daemon_that_writes_to_it(store, tmp_path):
    client = people.add_client(store)
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    with Store.open(store.path, write=False) as beside:
        (made,) = export(beside, [sweep_id], tmp_path / "out", computed)
        recorded(store, 1)

    assert forget(store, client.pseudonym).exports == (tmp_path / "out",)
    assert made.exists()


def test_an_export_from_a_store_nobody_can_write_says_that_it_is_not_noted(store, tmp_path, monkeypatch):
    sweep_id, told = stored(store), []
    monkeypatch.setattr("os.access", lambda path, mode: False)
    export(store, [sweep_id], tmp_path / "out", computed, told=told.append)

    assert "is not noted in it: forgetting a client will not name it" in told[0]


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
