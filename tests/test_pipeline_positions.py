"""A jig that reads by itself where its saddle stands, through the pipeline."""

from dataclasses import replace

import numpy as np
import pytest

from daq.items import FITTER, Event, Hello
from daq.pipeline import Pipeline
from daq.rig_file import parse_rig
from daq.sweep.run import State
from daq.values import NAN, Onset, Result, Samples, StepMean
from tests.ridden import CALIBRATION, PLAN, RATE_HZ, ridden
from tests.rigs import rig_text

SLIDE = '[[positions]]\nname = "slide"\nrole = "saddle fore-aft"\nplaces = [[0, 0.0], [10000, 100.0]]\nu_mm = 0.3\n'
RIG = parse_rig(rig_text() + SLIDE)
SECONDS = 14
CHANNELS = ("tilt", "hands", "saddle", "slide")


def items_of(shown_mm, *, u_mm=0.3):
    """The items of a sweep whose scans have a slide that shows shown_mm(place, second within it, where it stands). The
    saddle is moved in the last second of a place, and confirmed then."""
    at_mm, place, second = NAN, -1, 0
    items = []
    for item in ridden(pieces=RATE_HZ, seconds=SECONDS):
        if isinstance(item, Event) and item.content.get("event") == "saddle_moved":
            at_mm, place, second = item.content["setback_mm"], place + 1, 0
            item = replace(item, content={**item.content, "u_setback_mm": u_mm})
        elif isinstance(item, Samples):
            moved = second == SECONDS - 1 and place + 1 < len(PLAN.positions_mm)
            where = (place + 1, 0, PLAN.positions_mm[place + 1]) if moved else (place, second, at_mm)
            column = np.full((len(item), 1), round(100.0 * shown_mm(*where)), dtype=np.int32)
            item, second = replace(item, counts=np.hstack([item.counts, column])), second + 1
        elif isinstance(item, Event) and "channels" in item.content:
            item = replace(item, content={**item.content, "channels": list(CHANNELS)})
        elif isinstance(item, Hello):
            item = replace(item, content={"channels": [{"name": name} for name in CHANNELS]})
        items.append(item)
    return items


def sweep(shown_mm, **how):
    """The pipeline after such a sweep, and all that came of it."""
    pipeline = Pipeline(RIG, CALIBRATION)
    outputs = [output for item in items_of(shown_mm, **how) for output in pipeline.feed(item)]
    return pipeline, outputs


def cells_of(outputs):
    answer = [output for output in outputs if isinstance(output, Onset)][-1]
    return next(test for test in answer.validity if test.test == "cells")


def test_a_sensor_that_follows_gives_its_uncertainty_to_the_steps_and_nothing_is_wrong():
    pipeline, outputs = sweep(lambda place, second, at_mm: at_mm)

    steps = [output for output in outputs if isinstance(output, StepMean)]
    assert [step.u_setback_mm for step in steps] == [0.3] * len(PLAN.positions_mm)
    assert pipeline.positions.now == {"setback_mm": pytest.approx(70.0)}
    assert pipeline.faults == []


def test_without_what_the_sensor_knows_a_step_has_the_rig_files_uncertainty():
    _, outputs = sweep(lambda place, second, at_mm: at_mm, u_mm=None)

    assert {output.u_setback_mm for output in outputs if isinstance(output, StepMean)} == {RIG.geometry.u_setback_mm}


def test_a_saddle_that_slips_while_a_step_is_ridden_forbids_the_onset_until_that_step_is_redone():
    _, outputs = sweep(lambda place, second, at_mm: at_mm + (6.0 if place == 2 and second >= 5 else 0.0))

    found = cells_of(outputs)
    assert found.result is Result.FAILED
    assert found.forbids
    assert "slide: moved by +6.0 mm" in found.means
    assert found.cure == "fix 'slide' and ride 40 mm again"


def test_a_sensor_that_sticks_forbids_it_too():
    _, outputs = sweep(lambda place, second, at_mm: 80.0 if place < 2 else at_mm)

    assert "slide" in cells_of(outputs).means
    assert cells_of(outputs).cure == "fix 'slide' and ride 60 mm again"


def test_a_sensor_that_goes_on_sticking_leaves_the_sweep_no_verdict_and_is_said_to():
    """The setbacks are entered as they are: the sensor is what is wrong."""
    _, outputs = sweep(lambda place, second, at_mm: 80.0)

    found = cells_of(outputs)
    assert found.forbids
    assert found.cure == (
        "this sweep can have no verdict (a position sensor was wrong at 60, 40, 50 and 70 mm): enter the "
        "setbacks from the jig's scale, mend the sensor, and ride the sweep again"
    )


def test_a_slip_is_told_while_the_saddle_should_stand_and_not_while_it_is_moved():
    pipeline, told = Pipeline(RIG, CALIBRATION), []
    for item in items_of(lambda place, second, at_mm: at_mm + (6.0 if place == 2 and second >= 5 else 0.0)):
        pipeline.feed(item)
        told.append((pipeline.progress.state, bool(pipeline.position_troubles)) if pipeline.progress else None)

    assert (State.AVERAGING, True) in told
    assert (State.MOVING, False) in told
    assert (State.MOVING, True) not in told


def test_a_sensor_that_jumps_and_stays_off_spoils_the_later_steps_too():
    """What the sensor reads is taken as set, as the daemon does."""

    def jumped(place, second, at_mm):
        return at_mm + (8.0 if place > 1 or (place == 1 and second >= 5) else 0.0)

    pipeline, place, outputs = Pipeline(RIG, CALIBRATION), -1, []
    for item in items_of(jumped):
        if isinstance(item, Event) and item.content.get("event") == "saddle_moved":
            place += 1
            read_mm = jumped(place, 0, item.content["setback_mm"])
            item = replace(item, content={**item.content, "setback_mm": read_mm})
        outputs += pipeline.feed(item)

    steps = [output for output in outputs if isinstance(output, StepMean)]
    assert [step.setback_mm for step in steps] == [80.0, 60.0, 48.0, 58.0, 78.0]
    assert "this sweep can have no verdict" in cells_of(outputs).cure
    assert "wrong at 60, 48, 58 and 78 mm): enter the setbacks from the jig's scale, mend the sensor, and ride" in (
        cells_of(outputs).cure
    )


def test_a_step_undone_in_its_middle_does_not_mend_a_sensor_that_has_jumped():
    pipeline, place, second = Pipeline(RIG, CALIBRATION), -1, 0
    for item in items_of(lambda place, second, at_mm: at_mm + (8.0 if place == 1 and second >= 3 else 0.0)):
        pipeline.feed(item)
        if isinstance(item, Event) and item.content.get("event") == "saddle_moved":
            place, second = place + 1, 0
        second += isinstance(item, Samples)
        if (place, second) == (1, 5):
            break
    at_us = int(item.received_us[-1]) if isinstance(item, Samples) else item.received_us

    pipeline.feed(Event(at_us, FITTER, {"event": "undo"}))
    pipeline.feed(Event(at_us, FITTER, {"event": "saddle_moved", "setback_mm": 68.0, "u_setback_mm": 0.3}))

    assert pipeline.progress.state is State.SETTLING
    assert "was wrong before" in pipeline.position_troubles["slide"]


@pytest.mark.parametrize(("u_mm", "believed"), [(None, True), (0.3, False)])
def test_a_setback_entered_mends_a_sensor_in_doubt_that_reads_the_same_and_one_read_from_it_does_not(u_mm, believed):
    """The sensor reads 8 mm more from the second position on; there what is asked was entered."""
    pipeline, place = Pipeline(RIG, CALIBRATION), -1
    for item in items_of(lambda place, second, at_mm: at_mm + (8.0 if place > 0 else 0.0), u_mm=None):
        if isinstance(item, Event) and item.content.get("event") == "saddle_moved":
            place += 1
            if place == 2:
                item = replace(item, content={**item.content, "setback_mm": 48.0, "u_setback_mm": u_mm})
        pipeline.feed(item)
        if place == 2:
            break

    assert pipeline.progress.asked_setback_mm == 40.0
    assert (pipeline.position_troubles == {}) is believed
