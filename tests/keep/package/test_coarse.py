"""An export with days to months and masses to 5 kg."""

import json
import re

import pandas
import pytest

from daq.items import Event
from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.package.coarse import coarse, month
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.package.permission import ExportRefused
from daq.keep.package.recomputed import derive_exported
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from tests.bits import bits

MASS_KG = 73.4
DAYS = {"begun": "2026-03-29", "checked": "2026-03-14"}


@pytest.fixture
def store(own_ridden_store):
    """Two sweeps of one rider of 73.4 kg, with days in what was said of them."""
    with Store.open(own_ridden_store) as store:
        with store.writing() as db:
            for sweep_id in (1, 2):
                rider = {"pseudonym": store.sweep(sweep_id).rider["pseudonym"], "mass_kg": MASS_KG}
                update_row(db, "sweeps", sweep_id, rider=json.dumps(rider))
            for number, text in db.execute("SELECT id, content FROM events WHERE kind = 'sweep-begun'").fetchall():
                stamp = {"id": "bench 1", "allows_verdict": True, "sentence": f"checked on {DAYS['checked']} 10:15"}
                content = {**json.loads(text), "mass_kg": MASS_KG, "calibration": stamp}
                update_row(db, "events", number, content=json.dumps(content))
        store.put(1, [Event(70_500_000, "seated", {"mass_kg": MASS_KG})])
        yield store


def exported(store, folder, form="csv.gz", **options):
    return export(store, [1, 2], folder, recompute_stored, form=form, **options)


def all_text(folder):
    """Everything in the folder that can be read as text, calibrations and the rig apart: they are the jig's."""
    texts = [path.read_text() for path in folder.rglob("*") if path.is_file() and path.suffix in (".json", ".csv")]
    for path in folder.rglob("*.csv.gz"):
        table = pandas.read_csv(path).drop(columns="rig", errors="ignore")
        texts.append(table.drop(columns="content").to_csv() if path.name.startswith("calib") else table.to_csv())
    return "\n".join((*texts, *(path.name for path in folder.rglob("*"))))


def test_no_day_no_mass_and_no_clock_is_left(store, tmp_path):
    exported(store, tmp_path / "fine")
    exported(store, tmp_path / "coarse", is_coarse=True)
    fine, rough = all_text(tmp_path / "fine"), all_text(tmp_path / "coarse")

    for day in DAYS.values():
        assert day in fine
        assert day not in rough
        assert day.replace("-", "") not in rough
    assert "73.4" in fine
    assert not re.search(r"\b73\.4\b", rough)
    assert not re.search(r"2026-\d\d-(?!01T00:00:00\+00:00|01\b)\d\d", rough)
    assert pandas.read_csv(tmp_path / "coarse" / "sweeps.csv").mass_kg.tolist() == [75.0, 75.0]
    assert set(pandas.read_csv(tmp_path / "coarse" / "sweeps.csv").session_started_utc) == {"2026-03-01T00:00:00+00:00"}


def test_a_coarse_export_says_that_it_is_one(store, tmp_path):
    for folder, is_coarse in (("fine", False), ("coarse", True)):
        made = exported(store, tmp_path / folder, is_coarse=is_coarse)
        page = (tmp_path / folder / "README.md").read_text("utf-8")
        for path in (tmp_path / folder, *made):
            assert json.loads((path / "datapackage.json").read_text("utf-8")).get("coarse", False) is is_coarse
        assert ("the first of the month and not the wall clock" in page) is is_coarse


def test_steps_and_onset_stay_and_the_mass_cannot_be_taken_from_the_feet(store, tmp_path):
    made, own = exported(store, tmp_path / "out", is_coarse=True), recompute_stored(store, 1)
    found = derive_exported(made[0])

    assert [(step.setback_mm, step.hand_load_n, step.saddle_load_n) for step in found.steps] == [
        (step.setback_mm, step.hand_load_n, step.saddle_load_n) for step in own.steps
    ]
    assert found.onset.onset_mm == own.onset.onset_mm
    assert bits(found.strokes) != bits(own.strokes)
    strokes = pandas.read_csv(made[0] / "strokes.csv.gz")
    assert strokes.feet_n.tolist() == pytest.approx([stroke.feet_n for stroke in found.strokes], abs=1e-9)
    weight_n = (strokes.hands_n + strokes.saddle_n + strokes.feet_n).mean()
    assert weight_n / 9.8 == pytest.approx(75.0, abs=0.3)
    assert len(pandas.read_csv(made[0] / "results.csv.gz")) == 0


def test_sweeps_of_one_month_are_imported_each(store, tmp_path):
    made = exported(store, tmp_path / "out", "parquet", is_coarse=True)
    with Store.open(tmp_path / "other.sqlite") as other:
        assert [import_sweep(other, one) for one in made] == [1, 2]


def test_what_is_no_day_and_no_mass_stays():
    said = {"a": ["2026-03-29T01:59:59.500+01:00", "1-2026", 7], "mass_kg": None, "mass": 73.4}

    assert coarse(said) == {"a": ["2026-03", "1-2026", 7], "mass_kg": None, "mass": 73.4}
    assert coarse({"mass_kg": 77.6})["mass_kg"] == 80.0
    assert (month("2026-12-31T23:59:59+01:00"), month("unknown")) == ("2026-12-01T00:00:00+00:00", "unknown")


def test_consent_and_names_are_looked_at_all_the_same(store, tmp_path):
    client = people.clients(store)[0]
    people.set_consent(store, client.id, "research", False)
    with pytest.raises(ExportRefused, match="has not agreed"):
        exported(store, tmp_path / "out", is_coarse=True)
