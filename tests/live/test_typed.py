"""A whole sweep read off a scale and typed: no port, no board; kept, exported, imported, computed again to the bit."""

import dataclasses
import json

import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from daq.live.telling import view
from daq.live.typed_rig import check_unit, made_when_missing, typed_rig_text
from daq.refusals import BadValue, Doubted, NotNow
from daq.rig_file import RigError, parse_rig
from daq.sweep.run import State, Trigger
from daq.values import Onset, Result, StepMean, Verdict
from tests.live.typed_visit import ONSET_MM, PACE, PLAN, Visit


@pytest.fixture(scope="module")
def ridden(tmp_path_factory):
    visit = Visit(tmp_path_factory.mktemp("typed"))
    return visit.run(visit.sweep)


def last(visit, kind):
    return [one for one in visit.outputs if isinstance(one, kind)][-1]


def test_readings_of_a_scale_come_to_an_onset(ridden):
    answer = last(ridden, Onset)
    low_mm, high_mm = answer.interval_95_mm

    assert answer.verdict is Verdict.ONSET
    assert low_mm <= ONSET_MM <= high_mm
    assert answer.grade == "measured: hands (read off a scale) and effort; not measured: saddle, tilt and hips"


def test_what_nobody_watched_is_not_passed(ridden):
    made = {one.test: one.result for one in last(ridden, Onset).validity}

    assert made["calibration"] is Result.PASSED
    for test in ("cells", "feet", "tilt", "hips", "drift", "left and right hand"):
        assert made[test] is Result.NOT_MADE


def test_the_steps_are_kept_as_they_were_typed_and_computed_again_to_the_same_bits(ridden):
    with Store.open(ridden.path, write=False) as store:
        again = recompute_stored(store, 1)

    assert repr(again.onset) == repr(last(ridden, Onset))
    assert [len(step.readings) for step in again.steps] == [5] * 11


def test_exported_and_imported_it_gives_the_same_bits(ridden, tmp_path):
    with Store.open(ridden.path, write=False) as store:
        (made,) = export(store, [1], tmp_path / "out", recompute_stored, purpose="client", form="parquet")
    with Store.open(tmp_path / "other.sqlite") as other:
        again = recompute_stored(other, import_sweep(other, made))

    assert repr(again.onset) == repr(last(ridden, Onset))


def test_the_page_is_told_when_to_read(ridden):
    sweep = json.loads(view.snapshot(ridden.session))["sweep"]

    assert sweep["typed"]["unit"] == "kg"
    assert sweep["typed"]["due_in_s"] == []


def test_a_reading_waits_for_its_call_and_a_slip_for_a_word(tmp_path):
    visit = Visit(tmp_path)

    async def job():
        await visit.ready()
        before = visit.session.typed.fields()
        assert (before["wants_effort"], before["taken"], before["shown"]) == (False, 0, [])
        await visit.session.sweep.begin(PLAN)
        await visit.session.sweep.fitter(Trigger.BEGIN)
        with pytest.raises(NotNow, match="move the saddle first"):
            await visit.session.typed.read("9.2")
        await visit.session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        with pytest.raises(NotNow, match="read at the call"):
            await visit.session.typed.read("9.2")
        due_in_s = visit.session.typed.fields()["due_in_s"]
        assert 0.0 < max(due_in_s) <= (PLAN.settle_s + PLAN.dwell_s) / PACE, "in seconds of the clock on the wall"
        for shown in ("9.2", "9.5", "9.1"):
            await visit.due()
            await visit.session.typed.read(shown)
        await visit.due()
        with pytest.raises(BadValue, match="expected a number"):
            await visit.session.typed.read("nine")
        with pytest.raises(Doubted, match=r"against 9\.2 before: newtons typed for kilograms"):
            await visit.session.typed.read("91.2")
        assert visit.session.sweep.progress.taken == 3
        await visit.session.typed.read("91.2", sure=True)
        assert visit.session.sweep.progress.taken == 4
        assert visit.session.sweep.progress.state is State.AVERAGING
        assert visit.session.typed.fields()["shown"] == ["9.2", "9.5", "9.1", "91.2"], "as the display writes it"
        await visit.due()
        await visit.session.typed.read("9.3")
        assert visit.session.typed.fields()["wants_effort"] is True

    visit.run(job)


def test_a_position_ridden_again_is_read_again(tmp_path):
    visit = Visit(tmp_path)

    async def job():
        await visit.ready()
        await visit.session.sweep.begin(PLAN)
        await visit.session.sweep.fitter(Trigger.BEGIN)
        await visit.position()
        await visit.session.sweep.fitter(Trigger.REDO)
        assert visit.session.sweep.progress.steps == []
        await visit.position()
        assert len(visit.session.sweep.progress.steps) == 1

    visit.run(job)


def test_without_a_known_weight_no_onset_is_named(tmp_path):
    visit = Visit(tmp_path)

    async def job():
        await visit.ready()
        made = await visit.check("9.0")
        assert "correct their ratio in the rig file" in made.sentence
        assert not made.passed
        await visit.session.sweep.begin(PLAN)
        await visit.session.sweep.fitter(Trigger.BEGIN)
        for _ in range(5):
            await visit.position()

    visit.run(job)
    answer = last(visit, Onset)

    assert answer.onset_mm is None
    assert any("check" in reason for reason in answer.reasons)


def test_a_known_weight_counts_until_the_first_position(tmp_path):
    """As the page has it: the plan is set, then everything is checked, then the sweep begins."""
    visit = Visit(tmp_path)

    async def job():
        await visit.ready()
        with pytest.raises(BadValue, match="on: this rig reads hands, got saddle"):
            await visit.check(on="saddle")
        await visit.session.sweep.begin(PLAN)
        await visit.check()
        await visit.session.sweep.fitter(Trigger.BEGIN)
        for _ in range(5):
            await visit.position()

    visit.run(job)
    with Store.open(visit.path, write=False) as store:
        again = recompute_stored(store, 1)

    for answer in (last(visit, Onset), again.onset):
        assert {one.test: one.result for one in answer.validity}["calibration"] is Result.PASSED


def test_how_long_the_display_takes_to_stand_still_is_asked_and_counts(tmp_path):
    """Five time constants until it stands; told with the known weight, before or after the plan is set."""
    visit = Visit(tmp_path)

    async def job():
        await visit.ready()
        await visit.check(settles_s=20.0)
        await visit.session.sweep.begin(PLAN)
        assert visit.session.sweep.progress.display.damping_s == 4.0
        await visit.check(settles_s=12.5)
        await visit.session.sweep.fitter(Trigger.BEGIN)
        await visit.session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
        moved_s = visit.session.acquisition.clock.now_us() / 1e6
        assert visit.session.sweep.progress.moments_s[0] - moved_s > 12.0
        for _ in range(5):
            await visit.due()
            await visit.session.typed.read(**visit.shown(80.0))
        await visit.session.typed.effort(200.0, 90.0)
        for _ in range(4):
            await visit.position()

    visit.run(job)
    with Store.open(visit.path, write=False) as store:
        again = recompute_stored(store, 1)

    assert {reading.damping_s for step in again.steps for reading in step.readings} == {2.5}
    assert repr(again.onset) == repr(last(visit, Onset))


def test_an_effort_that_a_trainer_holds_is_held_and_not_measured(tmp_path):
    visit = Visit(tmp_path, typed_rig_text("kg", 0.1).replace('effort = "typed"', 'effort = "held"'))
    visit.run(visit.sweep)
    answer = last(visit, Onset)

    assert answer.verdict is Verdict.RISE_SEEN
    assert answer.onset_mm is None
    assert "held, not measured: 200 W by the trainer" in answer.grade
    assert all(step.crank_torque_nm != step.crank_torque_nm for step in visit.outputs if isinstance(step, StepMean))


def test_a_rig_keeps_its_unit_for_ever(ridden, tmp_path):
    pounds = parse_rig(typed_rig_text("lb", None))
    other = parse_rig(typed_rig_text("lb", None).replace("scale, read", "other scale, read"))

    with Store.open(ridden.path, write=False) as store:
        with pytest.raises(RigError, match="was read in kg"):
            check_unit(store, pounds)
        check_unit(store, other)

    path = tmp_path / "typed.toml"
    assert made_when_missing(path, "N", 1.0)
    assert not made_when_missing(path, None, None)
    assert parse_rig(path.read_text()).typed.step == 1.0
    with pytest.raises(RigError, match=r"has step = 1; write 0\.1 there"):
        made_when_missing(path, "N", 0.1)
    with pytest.raises(RigError, match="reads in N, and a rig keeps its unit"):
        made_when_missing(path, "kg", None)


def test_a_sweep_of_typed_readings_is_stored_with_its_words(ridden):
    with Store.open(ridden.path, write=False) as store:
        results = [one for one in store.results(1) if one.kind == "step"]

    assert len(results) == 11
    assert {"t_s", "hands_n", "half_n", "saddle_n", "damping_s"} == set(results[0].content["readings"][0])
    assert dataclasses.is_dataclass(last(ridden, StepMean).readings[0])
