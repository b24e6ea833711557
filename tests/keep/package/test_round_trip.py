"""An exported sweep brought back into another store."""

import json
import shutil

import pytest

from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from daq.values import Samples
from tests.keep.jig import concatenated, same
from tests.keep.sweeps import computed, stored

FORMS = ["parquet", "csv.gz"]


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


def test_a_changed_file_is_not_imported_and_leaves_nothing_behind(packages, tmp_path):
    made = shutil.copytree(packages["parquet"], tmp_path / "out")
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
def test_a_descriptor_that_points_elsewhere_is_refused(store, packages, tmp_path, path, says):
    made = shutil.copytree(packages["parquet"], tmp_path / "out")
    package = json.loads((made / "datapackage.json").read_text())
    package["resources"][0]["path"] = path
    (made / "datapackage.json").write_text(json.dumps(package))

    with pytest.raises(StoreDamaged, match=says):
        import_sweep(store, made)
