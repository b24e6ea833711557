"""The one loop of a ride: what a failing stage costs, and that a ride computed again costs the same."""

import dataclasses

import numpy as np
import pytest

from daq import ride as loop
from daq.fit.step_notes import MARK, Remarks
from daq.fit.stroke_watch import StrokeWatch
from daq.items import FITTER, GONE_ON, SWEEP_BEGUN, Event
from daq.keep.again.recompute import recompute_stored
from daq.keep.again.ridden import ridden as from_store
from daq.keep.store import Store
from daq.measure.calibration import to_dict
from daq.measure.clock import BoardClock
from daq.pipeline import Pipeline
from daq.refusals import BadValue, NotNow
from daq.ride import STAGE_FAILED
from daq.sweep.progress import Notice
from daq.sweep.run import State
from daq.values import Loads, Onset, Samples, StepMean, Stroke, Verdict, joined
from tests.bits import bits
from tests.keep.jig import begin
from tests.ridden import CALIBRATION, HELLO, PLAN, RATE_HZ, RIG, fed, kept, ridden, scans, with_one_more_position
from tests.rigs import rig_text

FAILS_AT_US = 20_400_000
"""In the middle of the second position."""


@pytest.fixture
def failing(monkeypatch):
    """A clock stage that fails on the scans of one moment."""
    real = BoardClock.feed

    def feed(self, samples):
        if samples.received_us[0] <= FAILS_AT_US <= samples.received_us[-1]:
            raise ZeroDivisionError("planted")
        return real(self, samples)

    monkeypatch.setattr(BoardClock, "feed", feed)


@pytest.fixture
def stored(tmp_path):
    """The store of a sweep as it was ridden: all its scans in one chunk, and the marks the ride gave."""

    def store_of(items, marks):
        store = Store.open(tmp_path / "store.sqlite")
        session_id = begin(store, rig=rig_text(), calibration=to_dict(CALIBRATION))
        in_one_piece = joined([item for item in items if isinstance(item, Samples)])
        store.put(session_id, [in_one_piece, *(item for item in items if not isinstance(item, Samples)), *marks])
        sweep_id = store.begin_sweep(
            session_id, from_us=0, plan=PLAN, rider={"mass_kg": 75.0}, gradient_pct=0, calibration=to_dict(CALIBRATION)
        )
        store.end_sweep(sweep_id, to_us=store.last_us(session_id) + 1, state="finished")
        return store

    return store_of


def test_the_loop_gives_what_the_pipeline_gives():
    items = ridden(pieces=25)
    pipeline = Pipeline(RIG, CALIBRATION)

    outputs, ride = fed(items)

    assert bits(outputs) == bits([output for item in items for output in pipeline.feed(item)])
    assert bits(ride.onset) == bits(kept(outputs, Onset)[-1])
    assert ride.failure is None


def test_a_failing_stage_costs_its_scans_and_the_verdict_and_nothing_else(failing):
    outputs, ride = fed(ridden(pieces=25))

    (mark,) = kept(outputs, Event)
    assert mark.kind == STAGE_FAILED
    assert mark.content == {
        "item": "25 scans of board",
        "error": "ZeroDivisionError",
        "last_us": mark.content["last_us"],
    }
    assert mark.received_us < FAILS_AT_US <= mark.content["last_us"]
    (alarm,) = [note for note in kept(outputs, Notice) if note.level == "alarm"]
    assert "the computation failed (ZeroDivisionError) on 25 scans of board" in alarm.text
    assert alarm.t_s == mark.received_us / 1e6
    assert [step.setback_mm for step in kept(outputs, StepMean)] == list(PLAN.positions_mm)
    assert ride.onset.verdict is Verdict.UNDECIDED
    assert (ride.onset.onset_mm, ride.onset.suggested_setback_mm) == (None, None)
    assert ride.onset.reasons[0] == alarm.text


def test_a_sweep_with_a_failure_computes_again_to_the_same_bits(failing, stored):
    items = ridden(pieces=25)
    outputs, ride = fed(items)

    with stored(items, kept(outputs, Event)) as store:
        again, found = recompute_stored(store, 1), from_store(store, 1)

    assert bits(list(again.steps)) == bits(kept(outputs, StepMean))
    assert bits(list(again.strokes)) == bits(kept(outputs, Stroke))
    assert bits(again.onset) == bits(ride.onset)
    assert bits(dataclasses.replace(found, state="")) == bits(ride.ridden(1, ""))


def test_a_sweep_that_failed_has_no_verdict_either_when_the_fault_is_mended(failing, stored, monkeypatch):
    items = ridden(pieces=25)
    outputs, ride = fed(items)
    monkeypatch.undo()

    with stored(items, kept(outputs, Event)) as store:
        again = recompute_stored(store, 1)

    assert again.onset.verdict is Verdict.UNDECIDED
    assert again.onset.reasons[0] == ride.onset.reasons[0]


def test_after_a_failure_it_is_answered_again_at_a_step_and_not_at_every_item_that_fails(monkeypatch):
    longer = dataclasses.replace(PLAN, positions_mm=(*PLAN.positions_mm, 80.0))
    items = ridden(pieces=RATE_HZ)
    items[1] = dataclasses.replace(items[1], content={**items[1].content, "plan": dataclasses.asdict(longer)})
    _, ride = fed(items)
    later = items[-1].received_us // 10_000 + 1

    def fails(*_):
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(BoardClock, "feed", fails)
    outputs, _ = fed([scans(later + i * RATE_HZ, RATE_HZ, rng=np.random.default_rng(1)) for i in range(5)], ride)

    assert len(kept(outputs, Event)) == 1
    assert len(kept(outputs, Onset)) == 1


def test_a_ride_is_handed_on_with_the_calibration_it_was_measured_with():
    _, ride = fed(ridden(pieces=RATE_HZ))

    assert ride.ridden(1, "").calibration == CALIBRATION


def test_an_estimator_that_fails_leaves_the_steps_and_says_why_there_is_no_answer(monkeypatch):
    def fails(*_, **__):
        raise FloatingPointError("planted")

    monkeypatch.setattr("daq.pipeline.onset", fails)

    outputs, ride = fed(ridden(pieces=25))

    assert len(kept(outputs, StepMean)) == len(PLAN.positions_mm)
    assert len(kept(outputs, Event)) == 1, "marked once, however often it fails"
    assert ride.onset.verdict is Verdict.UNDECIDED
    assert "the computation failed (FloatingPointError)" in ride.onset.reasons[0]


def test_a_fault_in_what_is_told_of_an_answer_is_a_failure_like_any_other(monkeypatch):
    def fails(*_):
        raise KeyError("planted")

    monkeypatch.setattr(loop, "newly_failed", fails)

    outputs, ride = fed(ridden(pieces=25))

    assert len(kept(outputs, StepMean)) == len(PLAN.positions_mm)
    assert [mark.content["error"] for mark in kept(outputs, Event)] == ["KeyError"]
    assert ride.onset.verdict is Verdict.UNDECIDED
    assert "the computation failed (KeyError)" in ride.onset.reasons[0]


def planted(*_):
    raise ZeroDivisionError("planted")


def test_a_fault_in_the_remarks_at_a_fitters_event_marks_the_sweep_and_the_event_holds(monkeypatch):
    monkeypatch.setattr(Remarks, "after_fitter", planted)

    outputs, ride = fed(ridden(pieces=25))

    (mark,) = kept(outputs, Event)
    assert mark.content == {"item": "event fitter", "error": "ZeroDivisionError", "last_us": 2}
    (alarm,) = [note for note in kept(outputs, Notice) if note.level == "alarm"]
    assert "the computation failed (ZeroDivisionError) on event fitter" in alarm.text
    assert [step.setback_mm for step in kept(outputs, StepMean)] == list(PLAN.positions_mm)
    assert (ride.failure, ride.onset.verdict) == (mark, Verdict.UNDECIDED)


def test_a_sweep_whose_remarks_failed_computes_again_to_the_same_bits_also_when_the_fault_is_mended(
    stored, monkeypatch
):
    items = ridden(pieces=25)
    monkeypatch.setattr(Remarks, "after_fitter", planted)
    outputs, ride = fed(items)

    with stored(items, kept(outputs, Event)) as store:
        failing_again = recompute_stored(store, 1)
        monkeypatch.undo()
        mended = recompute_stored(store, 1)

    for again in (failing_again, mended):
        assert bits(list(again.steps)) == bits(kept(outputs, StepMean))
        assert bits(again.onset) == bits(ride.onset)


@pytest.mark.parametrize("kind", [SWEEP_BEGUN, "stop"])
def test_a_failure_on_the_event_that_begins_or_ends_a_sweep_takes_its_verdict_live_and_later(stored, monkeypatch, kind):
    """Once the fault is mended, the mark alone says so: it comes after the event."""
    real = Remarks.after_fitter if kind == "stop" else Remarks.after

    def fails(self, what, *steps):
        if kind == (what if steps else what.kind):
            raise ZeroDivisionError("planted")
        return real(self, what, *steps)

    items = with_one_more_position()
    items.append(Event(items[-1].received_us + 1_000_000, FITTER, {"event": "stop"}))
    monkeypatch.setattr(Remarks, "after_fitter" if kind == "stop" else "after", fails)
    outputs, ride = fed(items)
    monkeypatch.undo()

    with stored(items, kept(outputs, Event)) as store:
        again = recompute_stored(store, 1)

    assert len(kept(outputs, Event)) == 1
    assert "the computation failed (ZeroDivisionError)" in ride.onset.reasons[0]
    assert bits(again.onset) == bits(ride.onset)


def test_a_failure_after_the_end_hides_none_in_the_sweep_that_goes_on(monkeypatch):
    items = with_one_more_position()
    _, ride = fed(items)
    ended_us = items[-1].received_us + 1
    fed([Event(ended_us, FITTER, {"event": "stop"})], ride)
    monkeypatch.setattr(Remarks, "after", planted)

    outside, _ = fed([Event(ended_us + 1, MARK, {"text": "a"})], ride)
    answered = ride.answer(ride.pipeline.progress.steps)
    going_on, _ = fed([Event(ended_us + 2, GONE_ON, {"positions_mm": []})], ride)
    later, _ = fed([Event(ended_us + 3, MARK, {"text": "b"})], ride)

    assert [len(kept(outputs, Event)) for outputs in (outside, going_on, later)] == [1, 1, 0]
    assert "failed" not in answered.reasons[0]
    assert "the computation failed (ZeroDivisionError) on event gone-on" in ride.onset.reasons[0]


def test_a_sweep_that_failed_goes_on_with_its_failure_and_gets_no_second_mark(monkeypatch):
    items = with_one_more_position()
    _, ride = fed(items)
    at_us = items[-1].received_us
    with monkeypatch.context() as patched:
        patched.setattr(Remarks, "after", planted)
        fed([Event(at_us + 1, MARK, {"text": "a"})], ride)
    first = ride.failure

    fed([Event(at_us + 2, FITTER, {"event": "stop"}), Event(at_us + 3, GONE_ON, {"positions_mm": []})], ride)
    monkeypatch.setattr(Remarks, "after", planted)
    outputs, _ = fed([Event(at_us + 4, MARK, {"text": "b"})], ride)

    assert first is not None
    assert ride.failure is first
    assert kept(outputs, Event) == []


def test_a_failure_on_scans_just_after_the_end_takes_no_verdict_live_or_later(stored, monkeypatch):
    """Its mark stands between the end and the scans when the sweep is computed again."""
    items = with_one_more_position()
    ended_us = items[-1].received_us + 1_000_000
    after = scans(ended_us // 10_000 + 1, 25, rng=np.random.default_rng(1))
    items = [*items, Event(ended_us, FITTER, {"event": "stop"}), after]
    real = BoardClock.feed

    def feed(self, samples):
        if samples.received_us[-1] > ended_us:
            raise ZeroDivisionError("planted")
        return real(self, samples)

    monkeypatch.setattr(BoardClock, "feed", feed)
    outputs, ride = fed(items)
    with stored(items, kept(outputs, Event)) as store:
        again = recompute_stored(store, 1)

    assert len(kept(outputs, Event)) == 1
    assert ride.onset.p_onset > 0.5
    assert bits(again.onset) == bits(ride.onset)


def test_a_fault_in_what_looks_at_the_strokes_marks_the_sweep_and_costs_no_step(monkeypatch):
    monkeypatch.setattr(StrokeWatch, "see", planted)

    outputs, ride = fed(ridden(pieces=25))

    (mark,) = kept(outputs, Event)
    assert mark.content["error"] == "ZeroDivisionError"
    assert [step.setback_mm for step in kept(outputs, StepMean)] == list(PLAN.positions_mm)
    assert ride.onset.verdict is Verdict.UNDECIDED


def test_a_go_on_that_is_refused_clears_no_earlier_failure(monkeypatch):
    items = with_one_more_position()
    ended_us = items[-1].received_us + 1
    _, ride = fed([*items, Event(ended_us, FITTER, {"event": "stop"})])
    monkeypatch.setattr(Remarks, "after", planted)
    fed([Event(ended_us + 1, MARK, {"text": "a"})], ride)
    before = ride.failure

    with pytest.raises(BadValue):
        ride.feed(Event(ended_us + 2, GONE_ON, {"positions_mm": [-1e6]}))

    assert before is not None
    assert ride.failure is before


def test_what_looks_like_a_refusal_once_the_sweep_has_moved_on_is_a_failure(monkeypatch):
    def refuses(*_):
        raise NotNow("planted")

    monkeypatch.setattr(Remarks, "after_fitter", refuses)

    outputs, ride = fed(ridden(pieces=25)[:3])

    assert [mark.content["error"] for mark in kept(outputs, Event)] == ["NotNow"]
    assert ride.pipeline.progress.state is State.MOVING


def test_a_redo_takes_the_answer_back_also_when_the_remarks_fail(monkeypatch):
    items = with_one_more_position()
    _, ride = fed(items)
    monkeypatch.setattr(Remarks, "after_fitter", planted)

    outputs, _ = fed([Event(items[-1].received_us + 1, FITTER, {"event": "redo"})], ride)

    assert len(kept(outputs, Event)) == 1
    assert ride.onset is None


def test_the_next_sweep_after_a_failure_has_its_verdict(failing):
    _, ride = fed(ridden(pieces=25))
    later = [dataclasses.replace(item, received_us=item.received_us + 10**9) for item in ridden(pieces=25)]

    fed(later, ride)

    alone = fed(later)[1]
    assert ride.failure is None
    assert alone.onset.p_onset > 0.5
    assert bits(ride.onset) == bits(alone.onset)


def test_a_refused_event_is_no_failure_and_changes_nothing():
    _, ride = fed([HELLO])
    with pytest.raises(NotNow):
        ride.feed(Event(5, "fitter", {"event": "pause"}))

    assert ride.failure is None


def test_of_all_scans_only_those_the_stage_failed_on_have_no_loads(failing):
    items = ridden(pieces=25)
    outputs, _ = fed(items)

    received = sum(len(item) for item in items if isinstance(item, Samples))
    assert sum(len(loads) for loads in kept(outputs, Loads)) == received - 25
