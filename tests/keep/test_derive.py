"""Sweeps computed again from the store, from an export and after an import: the same answer, bit for bit."""

import dataclasses
import json
from functools import partial

import pytest

from daq.keep import workers
from daq.keep.archive import analyse
from daq.keep.derive import derive, derive_exported, onset_again
from daq.keep.derived import exclusions
from daq.keep.export import export
from daq.keep.importing import import_sweep
from daq.keep.json_text import plain
from daq.keep.store import Store
from daq.keep.tables import read_table
from daq.measure.calibration import to_dict
from daq.values import Onset, StepMean, Stroke
from tests.keep.jig import begin
from tests.test_pipeline import CALIBRATION, PLAN, kept, outputs_of, ridden

RIG_TEXT = """
name = "test jig"
board = { port = "/dev/null" }
channels = [{ name = "hands", role = "hands" }, { name = "saddle", role = "saddle" }, { name = "tilt", role = "tilt" }]
geometry = { bar_x_m = 0.57, bar_y_m = 0.66, saddle_y_m = 0.70 }
"""


@pytest.fixture(scope="module")
def live():
    """What the pipeline gave while riding."""
    outputs, _ = outputs_of(ridden(pieces=5))
    return outputs


@pytest.fixture
def store(tmp_path, live):
    with Store.open(tmp_path / "store.sqlite") as store:
        session_id = begin(store, rig=RIG_TEXT, calibration=to_dict(CALIBRATION))
        items = ridden(pieces=5)
        for start in range(0, len(items), 50):
            store.put(session_id, items[start : start + 50])
        sweep_id = store.begin_sweep(
            session_id, from_us=0, plan=PLAN, rider={"mass_kg": 75.0}, gradient_pct=0, calibration=to_dict(CALIBRATION)
        )
        answer = kept(live, Onset)[-1]
        store.put_result(sweep_id, kind="onset", method=answer.method, content=answer)
        store.end_sweep(sweep_id, to_us=store.last_us(session_id) + 1, state="finished")
        yield store


def test_a_stored_sweep_gives_what_it_gave_while_riding(store, live):
    found = derive(store, 1)

    assert list(found.strokes) == kept(live, Stroke)
    assert list(found.steps) == kept(live, StepMean)
    assert found.onset == kept(live, Onset)[-1]


@pytest.mark.parametrize("form", ["parquet", "csv.gz"])
def test_an_exported_sweep_and_one_imported_from_it_give_the_same_onset(store, live, tmp_path, form):
    (made,) = export(store, [1], tmp_path / "out", derive, form=form)
    with Store.open(tmp_path / "other.sqlite") as other:
        imported = derive(other, import_sweep(other, made))

    assert imported.onset == kept(live, Onset)[-1]
    assert imported.strokes == derive(store, 1).strokes
    assert derive_exported(made).onset == imported.onset


def test_every_stroke_is_in_a_step_or_left_out_with_a_reason(store):
    found = derive(store, 1)

    left_out = {number for number, _, _ in exclusions(found)}
    used = {stroke for step in found.steps for stroke in step.strokes}
    assert len(left_out) + len(used) == len(found.strokes)
    assert len({reason for _, _, reason in exclusions(found)}) >= 1


def test_an_archive_is_analysed_again_with_its_own_and_with_another_calibration(store, tmp_path):
    export(store, [1], tmp_path / "sweeps", derive)
    hands, *others = CALIBRATION.channels
    low, gain = hands.coefficients
    stronger = dataclasses.replace(
        CALIBRATION, channels=(dataclasses.replace(hands, coefficients=(low, 2 * gain)), *others)
    )
    (tmp_path / "stronger.json").write_text(json.dumps(to_dict(stronger)))
    for name, calibration in (("own", None), ("stronger", tmp_path / "stronger.json")):
        analysis = partial(onset_again, calibration_file=calibration)
        analyse(tmp_path / "sweeps", analysis, tmp_path / name, method=f"onset/{name}", mapper=workers.local(2))

    own, other = (read_table(tmp_path / name, "results") for name in ("own", "stronger"))
    assert own["onset_mm"] == own["stored_onset_mm"]
    assert own["least_squares_mm"] == [plain(derive(store, 1).onset)["least_squares_mm"]]
    assert other["slope_n_per_mm"][0] > 1.5 * own["slope_n_per_mm"][0]
    (folder,) = (tmp_path / "sweeps").glob("*/")
    assert [step.hand_load_n for step in derive_exported(folder, stronger).steps] == [
        2 * step.hand_load_n for step in derive_exported(folder).steps
    ]
