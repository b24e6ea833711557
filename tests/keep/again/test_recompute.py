"""Sweeps computed again from the store, from an export and after an import: the same answer, bit for bit."""

import dataclasses
import gzip
import json
from functools import partial

import numpy as np
import pytest

from daq.items import FITTER, SWEEP_BEGUN, Event
from daq.keep.again.derived import exclusions
from daq.keep.again.recompute import recompute, recompute_stored
from daq.keep.again.replay import run
from daq.keep.errors import StoreDamaged
from daq.keep.json_text import plain
from daq.keep.package import recomputed, workers
from daq.keep.package.archive import analyse
from daq.keep.package.export import export
from daq.keep.package.importing import exported_items, import_sweep
from daq.keep.package.recomputed import derive_exported, onset_again
from daq.keep.package.tables import read_table
from daq.keep.store import Store
from daq.measure.calibration import CalibratedChannel, Term, Uncertainty, to_dict
from daq.ride import Ride
from daq.sweep.onset import onset
from daq.values import Onset, Samples, StepMean, Stroke
from tests.bits import bits
from tests.keep.jig import begin
from tests.ridden import CALIBRATION, PLAN, RIG, kept, outputs_of, ridden
from tests.rigs import rig_text
from tests.sweep.tables import parse_steps


@pytest.fixture(scope="module")
def live():
    """What the pipeline gave while riding."""
    outputs, _ = outputs_of(ridden(pieces=5))
    return outputs


@pytest.fixture(scope="module")
def store(tmp_path_factory, live):
    """The sweep as stored; no test writes to it."""
    with Store.open(tmp_path_factory.mktemp("ridden") / "store.sqlite") as store:
        session_id = begin(store, rig=rig_text(), calibration=to_dict(CALIBRATION))
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


@pytest.fixture(scope="module")
def found(store):
    """The stored sweep, computed again."""
    return recompute_stored(store, 1)


def test_a_stored_sweep_gives_what_it_gave_while_riding(found, live):
    assert bits(list(found.strokes)) == bits(kept(live, Stroke))
    assert bits(list(found.steps)) == bits(kept(live, StepMean))
    assert bits(found.onset) == bits(kept(live, Onset)[-1])


@pytest.mark.parametrize("form", ["parquet", "csv.gz"])
def test_an_exported_sweep_and_one_imported_from_it_give_the_same_onset(store, found, live, tmp_path, form):
    (made,) = export(store, [1], tmp_path / "out", lambda *_: found, form=form)
    with Store.open(tmp_path / "other.sqlite") as other:
        imported = recompute_stored(other, import_sweep(other, made))

    assert bits(imported.onset) == bits(kept(live, Onset)[-1])
    assert bits(imported.strokes) == bits(found.strokes)
    assert bits(derive_exported(made).onset) == bits(imported.onset)


def test_what_to_do_about_an_export_that_lacks_something_is_not_what_to_do_about_a_store(
    store, found, tmp_path, monkeypatch
):
    def without_scans(package):
        return (item for item in exported_items(package) if not isinstance(item, Samples))

    (made,) = export(store, [1], tmp_path / "out", lambda *_: found)
    monkeypatch.setattr(recomputed, "exported_items", without_scans)

    with pytest.raises(StoreDamaged, match="lost without a trace; export the sweep again from the store it is in"):
        derive_exported(made)


def test_every_stroke_is_in_a_step_or_left_out_with_a_reason(found):
    left_out = {number for number, _, _ in exclusions(found)}
    used = {stroke for step in found.steps for stroke in step.strokes}
    assert len(left_out) + len(used) == len(found.strokes)
    assert len({reason for _, _, reason in exclusions(found)}) >= 1


def test_an_archive_is_analysed_again_with_its_own_and_with_another_calibration(store, found, tmp_path):
    export(store, [1], tmp_path / "sweeps", lambda *_: found)
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
    assert own["least_squares_mm"] == [plain(found.onset)["least_squares_mm"]]
    assert other["slope_n_per_mm"][0] > 1.5 * own["slope_n_per_mm"][0]
    (folder,) = (tmp_path / "sweeps").glob("*/")
    assert [step.hand_load_n for step in derive_exported(folder, stronger).steps] == [
        2 * step.hand_load_n for step in derive_exported(folder).steps
    ]


UNCALIBRATED = dataclasses.replace(
    CALIBRATION,
    id="none",
    channels=tuple(CalibratedChannel(channel.name, "unused") for channel in CALIBRATION.channels),
)


def without_marks(items):
    """The same ride on a board without a crank mark: strokes are cut by the loads' ripple and the power sensor."""
    return [
        dataclasses.replace(item, status=np.zeros_like(item.status)) if isinstance(item, Samples) else item
        for item in items
    ]


@pytest.fixture(scope="module", params=[list, without_marks])
def items_and_own(request):
    """A ride on a board with and without a crank mark, and what its own calibration makes of it."""
    items = request.param(ridden(pieces=7, seconds=22))
    return items, recompute(items, RIG, CALIBRATION)


def test_the_same_calibration_given_as_another_gives_the_same_bits(items_and_own):
    items, own = items_and_own
    again = recompute(items, RIG, CALIBRATION, other=dataclasses.replace(CALIBRATION, id="a copy"))

    assert own.onset is not None
    assert bits((again.strokes, again.steps, again.onset)) == bits((own.strokes, own.steps, own.onset))
    for a, b in zip(again.loads, own.loads, strict=True):
        assert np.array_equal(a.hands_n, b.hands_n)
        assert np.array_equal(a.t_s, b.t_s)


def test_another_calibration_leaves_the_steps_where_they_were_ridden(items_and_own):
    """Hands that are never steady to the other calibration: ridden with it, the first step would still be settling."""
    items, own = items_and_own
    with pytest.raises(StoreDamaged, match=r"saddle_moved while .*lost without a trace; restore a backup"):
        list(run(Ride(RIG, UNCALIBRATED), items))
    again = recompute(items, RIG, CALIBRATION, other=UNCALIBRATED)

    assert [(s.setback_mm, s.t_min, s.excluded, s.crank_torque_nm) for s in again.steps] == [
        (s.setback_mm, s.t_min, s.excluded, s.crank_torque_nm) for s in own.steps
    ]
    assert [(s.start_s, s.end_s, s.scans) for s in again.strokes] == [
        (s.start_s, s.end_s, s.scans) for s in own.strokes
    ]
    assert all(np.isnan(step.hand_load_n) for step in again.steps)
    assert again.onset is None
    assert "cells are not calibrated" in again.no_answer


def test_why_there_is_no_answer_is_said_as_it_is():
    """Cut after so many positions; a plan that only compares places; a position being ridden again; no sweep."""
    items = ridden(pieces=100)
    ends = [at for at, one in enumerate(items) if isinstance(one, Event) and one.content.get("event") == "saddle_moved"]
    compared = [
        dataclasses.replace(one, content={**one.content, "plan": {**one.content["plan"], "purpose": "check"}})
        if isinstance(one, Event) and one.kind == SWEEP_BEGUN
        else one
        for one in items
    ]
    again = [*items[: ends[4]], Event(items[ends[4]].received_us, FITTER, {"event": "redo"})]

    assert recompute(items, RIG, CALIBRATION).no_answer == ""
    assert recompute(items[: ends[0]], RIG, CALIBRATION).no_answer.startswith("no position was finished")
    assert "2 of at least 5 different positions" in recompute(items[: ends[2]], RIG, CALIBRATION).no_answer
    assert recompute(compared, RIG, CALIBRATION).no_answer == "its plan asks for no onset"
    assert "3 of at least 5 different positions" in recompute(again, RIG, CALIBRATION).no_answer
    assert recompute([], RIG, CALIBRATION).no_answer == "no sweep was begun in what was received"


def test_a_sweep_ridden_before_the_cells_were_calibrated_is_answered_with_a_later_calibration():
    """Without a calibration no position is ever steady: each is averaged half a minute after the saddle was moved."""
    items = ridden(pieces=50, seconds=45)
    found = recompute(items, RIG, UNCALIBRATED)
    later = recompute(items, RIG, UNCALIBRATED, other=CALIBRATION)

    assert (len(found.steps), found.onset) == (5, None)
    assert later.onset.least_squares_mm == pytest.approx(55.0, abs=2.0)


def test_exported_steps_say_how_well_each_load_is_known(store, tmp_path):
    """By hand, JCGM 100 5.1.2: independent standard uncertainties add in squares; 0.5 N and 1 % of the load here."""
    hands, saddle, tilt = CALIBRATION.channels
    budgeted = dataclasses.replace(
        CALIBRATION,
        channels=(
            dataclasses.replace(hands, uncertainty=Uncertainty((Term("a", 0.5), Term("b", 0.0, 0.01)))),
            saddle,
            tilt,
        ),
    )
    items = ridden(pieces=50)
    (made,) = export(store, [1], tmp_path / "out", lambda *_: recompute(items, RIG, budgeted), form="csv.gz")
    steps = {
        name: np.array([float(cell or "nan") for cell in column])
        for name, column in read_table(made, "steps").items()
        if name != "sweep"
    }

    by_calibration = np.sqrt(0.5**2 + (0.01 * steps["hand_load_n"]) ** 2)
    assert steps["u_hand_calibration_n"] == pytest.approx(by_calibration, rel=1e-12)
    assert steps["u_hand_load_n"] == pytest.approx(np.sqrt(by_calibration**2 + steps["se_n"] ** 2), rel=1e-12)
    assert np.all(steps["se_n"] > 0.0)
    assert np.isnan(steps["u_saddle_calibration_n"]).all()


def test_exported_steps_are_a_table_that_the_onset_is_answered_from(store, found, tmp_path):
    (made,) = export(store, [1], tmp_path / "out", lambda *_: found, form="csv.gz")
    steps, _ = parse_steps(gzip.decompress((made / "steps.csv.gz").read_bytes()).decode())

    assert [(step.setback_mm, step.hand_load_n, step.se_n, step.t_min, step.u_setback_mm) for step in steps] == [
        (step.setback_mm, step.hand_load_n, u.se_n, step.t_min, step.u_setback_mm)
        for step, u in zip(found.steps, found.uncertainties, strict=True)
    ]
    # Within: a plain mean of each step here, there its level by the model of all strokes.
    of_table, of_sweep = onset(steps), onset(found.steps)
    assert of_table.onset_mm == pytest.approx(of_sweep.onset_mm, abs=0.05)
    assert of_table.p_onset == pytest.approx(of_sweep.p_onset, abs=0.005)
