"""The pipeline and its clocks: scans and notifications that had waited, a board's clock that jumps."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.items import SWEEP_BEGUN, Event
from daq.jig import beginning
from daq.pipeline import Pipeline
from daq.sweep.progress import Notice
from daq.sweep.run import State
from daq.values import Onset, Samples, StepMean, Stroke
from tests.bits import bits
from tests.ridden import CALIBRATION, HELLO, PLAN, RATE_HZ, RIG, kept, outputs_of, power, ridden


def came_at_once(items, *, silent_s, kept_s):
    """The same items, but from the 29th second on nothing comes for silent_s; then the last kept_s of it, at once."""
    from_us, to_us = 29_000_000, round((29.0 + silent_s) * 1e6)
    for item in items:
        if not isinstance(item, Samples) or not from_us <= int(item.ticks_us[0]) < to_us:
            yield item
        elif int(item.ticks_us[0]) >= to_us - kept_s * 1e6:
            yield replace(item, received_us=to_us + item.sequence.astype(np.int64))


@pytest.mark.parametrize("pieces", [7, 100])
def test_what_a_port_kept_through_a_long_silence_makes_no_stroke_of_another_length_and_none_ahead(pieces):
    """Ninety turns a minute throughout. Without the rules, the strokes that follow lie half a minute ahead, at half
    their length, and the power told meanwhile counts as stale."""
    items = list(came_at_once(ridden(pieces, seconds=120), silent_s=80.0, kept_s=30.0))
    pipeline, strokes = Pipeline(RIG, CALIBRATION), []
    for item in items:
        strokes += [(stroke, item.received_us[-1] / 1e6) for stroke in kept(pipeline.feed(item), Stroke)]

    again = [stroke for stroke, _ in strokes if stroke.start_s > 109.0]
    assert len(again) > 600
    assert all(90 / 1.6 < stroke.cadence_rpm < 90 * 1.6 for stroke, _ in strokes)
    assert sum(abs(stroke.cadence_rpm - 90.0) > 5.0 for stroke in again) <= 3
    assert max(stroke.end_s - now_s for stroke, now_s in strokes) < 1.1
    assert not any(math.isnan(stroke.crank_torque_nm) for stroke in again)


def test_strokes_after_scans_without_a_time_are_the_same_bits_however_the_scans_are_cut():
    one, other = (
        outputs_of(came_at_once(ridden(pieces, seconds=120), silent_s=80.0, kept_s=30.0))[0] for pieces in (7, 100)
    )

    assert bits(kept(one, Stroke, StepMean, Onset)) == bits(kept(other, Stroke, StepMean, Onset))


def test_a_sweep_begun_before_scans_that_had_waited_were_known_is_computed_as_it_was():
    items = list(came_at_once(ridden(100, seconds=120), silent_s=80.0, kept_s=30.0))
    before = {name: value for name, value in items[1].content.items() if name != "clock"}
    outputs, _ = outputs_of([items[0], replace(items[1], content=before), *items[2:]])

    ahead_s = [stroke.start_s for stroke in kept(outputs, Stroke) if stroke.cadence_rpm > 150.0]
    assert len(ahead_s) > 50


@pytest.mark.parametrize(("rules", "told_s"), [({}, 70.0), ({"clock": 2}, 60.0)])
def test_crank_events_get_their_times_by_the_rules_of_their_sweep(rules, told_s):
    """The notifications of thirty seconds come at once, in the 70th."""
    begun = beginning(PLAN, mass_kg=75.0, channels=("tilt", "hands", "saddle"), zero_counts=None)
    content = {name: value for name, value in begun.items() if name != "clock"} | rules
    pipeline = Pipeline(RIG, CALIBRATION)
    pipeline.feed(Event(1, SWEEP_BEGUN, content))
    for second in range(60):
        pipeline.feed(power(70_000_000 + second if second > 40 else second * 1_000_000, second * RATE_HZ))

    (*_, last_s) = pipeline.sensors.feed(power(70_000_060, 60 * RATE_HZ)).turns_s

    assert last_s == pytest.approx(told_s, abs=0.7)  # the last turn that was whole


def test_a_jump_of_the_boards_clock_is_told_and_the_sweep_goes_on():
    hello = replace(HELLO, received_us=3, content={**HELLO.content, "boot": 1, "scan_rate_hz": RATE_HZ})
    items = ridden(RATE_HZ)
    for item in items[20:]:
        if isinstance(item, Samples):
            item.ticks_us[:] += np.uint32(600_000_000)
    found, pipeline = outputs_of([*items[:3], hello, *items[3:]])

    (note,) = (note for note in kept(found, Notice) if "clock" in note.text)
    assert note.text.startswith("the board's clock jumped by +600.0 s although it did not restart")
    assert [fault.sentence for fault in pipeline.faults] == [note.text]
    assert pipeline.progress.state is State.FINISHED
