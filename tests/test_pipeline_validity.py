"""What the pipeline itself sees to be wrong in a sweep reaches the answer, and does so again from the stored items."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.items import FAULT, FITTER, GONE_ON, STEP_NOTE, SWEEP_BEGUN, Event, Hello
from daq.jig import beginning
from daq.keep.again.replay import replayed
from daq.keep.recording import read_recording
from daq.pipeline import Pipeline
from daq.rider.budget import posture
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import RiderModel
from daq.values import Onset, Result, Samples, StepMean, Verdict, joined
from tests.bits import bits
from tests.ridden import CALIBRATION, PLAN, RIG, ridden

RECORDING = Path(__file__).parent.parent / "recordings" / "level-hinge.rec"
BOARD = {
    "board_id": "00000000000000a1",
    "channels": [
        {"name": name, "kind": kind, "bits": 24, "gain": 128, "units_per_count": None}
        for name, kind in (("tilt", 2), ("hands", 1), ("saddle", 1))
    ],
}
FREEZES_S = 30
"""In the third of five steps of 14 s."""


def items(*, pieces=100, frozen=False, board=BOARD, **begun):
    """A whole sweep on a board that says what its channels are. frozen: the saddle's cell sticks half way."""
    content = beginning(
        PLAN, mass_kg=75.0, channels=("tilt", "hands", "saddle"), zero_counts=None, board=board, **begun
    )
    found = ridden(pieces)
    found[1] = Event(1, SWEEP_BEGUN, content)
    return [stuck(item) if frozen and isinstance(item, Samples) else item for item in found]


def stuck(samples):
    counts, late = samples.counts.copy(), samples.ticks_us >= FREEZES_S * 1_000_000
    counts[late, 2] = 215_000
    return replace(samples, counts=counts)


def answers(fed):
    pipeline = Pipeline(RIG, CALIBRATION)
    return [out for item in fed for out in pipeline.feed(item) if isinstance(out, StepMean | Onset)], pipeline


def found(answer, test):
    return next(one for one in answer.validity if one.test == test)


def test_a_sound_sweep_has_its_cells_watched():
    outputs, pipeline = answers(items())

    assert pipeline.cells.watches
    assert found(outputs[-1], "cells").result is Result.PASSED


def test_a_cell_that_froze_half_way_forbids_the_verdict_and_says_which_positions_to_ride_again():
    outputs, _ = answers(items(frozen=True))

    cells = found(outputs[-1], "cells")
    assert cells.forbids
    assert "saddle: has not changed by one count" in cells.means
    assert cells.cure == "fix 'saddle' and ride 40, 50 and 70 mm again"
    assert outputs[-1].verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("pieces", [7, 33])
def test_faults_are_the_same_however_the_scans_are_cut(pieces):
    assert bits(answers(items(pieces=pieces, frozen=True))[0]) == bits(answers(items(frozen=True))[0])


def test_seconds_are_judged_alike_in_pieces_that_reach_over_several():
    fed = items(frozen=True)
    whole = []
    for item in fed:  # scans of one position, up to the next event, as one piece
        if isinstance(item, Samples) and whole and isinstance(whole[-1], Samples):
            whole[-1] = joined([whole[-1], item])
        else:
            whole.append(item)
    of_whole, of_parts = answers(whole)[1], answers(fed)[1]

    assert of_parts.faults
    assert [f.t_s for f in of_whole.faults] == [f.t_s for f in of_parts.faults]


def test_an_old_sweep_that_does_not_tell_its_board_is_not_watched():
    outputs, pipeline = answers(items(board=None))

    assert not pipeline.cells.watches
    assert found(outputs[-1], "cells").result is Result.NOT_MADE


def test_what_somebody_saw_beside_the_scans_is_stored_as_an_event_and_judged():
    fed = items()
    half = len(fed) // 2
    fault = Event(fed[half].received_us[-1] + 1, FAULT, {"part": "zero", "sentence": "the zero has moved by 9 N"})

    outputs, _ = answers([*fed[: half + 1], fault, *fed[half + 1 :]])

    assert "zero: the zero has moved by 9 N" in found(outputs[-1], "cells").means
    assert outputs[-1].verdict is Verdict.UNDECIDED


def noted(fed, step, tilt_deg, after_s):
    """The items with the saddle's tilt noted for a step, counted from 0, this long after the sweep's first event."""
    at_us = round(1e6 * after_s)
    note = Event(at_us, STEP_NOTE, {"step": step, "what": "saddle_tilt_deg", "value": tilt_deg})
    place = next(i for i, item in enumerate(fed) if isinstance(item, Samples) and item.received_us[-1] > at_us)
    return [*fed[:place], note, *fed[place:]]


def test_a_tilt_noted_while_a_step_is_ridden_or_after_it_is_that_steps_and_is_judged():
    """A place takes 14 s, of which it moves in the first and stands finished in the last."""
    fed = noted(noted(items(), 0, -1.0, after_s=4.0), 2, -3.0, after_s=28.0 + 13.8)

    outputs, pipeline = answers(fed)

    tilts = [step.setting.saddle_tilt_deg for step in pipeline.progress.steps]
    assert np.array_equal(tilts, [-1.0, np.nan, -3.0, np.nan, np.nan], equal_nan=True)
    assert found(outputs[-1], "saddle tilt").forbids
    assert "ride 40 mm again" in found(outputs[-1], "saddle tilt").cure


def test_a_tilt_noted_at_a_finished_step_changes_the_answer_at_once():
    """The sweep goes on with one more position after its end, so that the last step is one of a sweep under way."""
    fed = noted(items(), 0, -1.0, after_s=4.0)
    end_us = 1 + max(item.received_us[-1] for item in fed if isinstance(item, Samples))
    tipped = Event(end_us + 1, STEP_NOTE, {"step": 4, "what": "saddle_tilt_deg", "value": -3.0})

    outputs, _ = answers([*fed, Event(end_us, GONE_ON, {"positions_mm": [60.0]}), tipped])

    before, after = [one for one in outputs if isinstance(one, Onset)]
    assert not found(before, "saddle tilt").forbids
    assert found(after, "saddle tilt").forbids


def test_what_is_noted_besides_or_after_the_end_changes_nothing():
    fed = items()
    end_us = 1 + max(item.received_us[-1] for item in fed if isinstance(item, Samples))
    late = [Event(end_us, STEP_NOTE, {"step": step, "what": "saddle_tilt_deg", "value": 3.0 * step}) for step in (3, 4)]
    score = Event(end_us - 1, STEP_NOTE, {"step": 0, "what": "hands", "value": 4.0})

    assert bits(answers([*fed, score, *late])[0]) == bits(answers(fed)[0])


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({**BOARD, "board_id": "00000000000000b2"}, "another board, 00000000000000b2"),
        ({**BOARD, "channels": [{**c, "gain": 64} for c in BOARD["channels"]]}, "gain of tilt is 64, it was 128"),
        ({**BOARD, "channels": [{**c, "units_per_count": 1e-9} for c in BOARD["channels"]]}, "units_per_count of tilt"),
    ],
)
def test_a_board_that_is_not_as_it_was_forbids_the_verdict(other, says):
    fed = items()
    half = len(fed) // 2

    outputs, _ = answers([*fed[:half], Hello(fed[half].received_us[0], "board", other), *fed[half:]])

    assert says in found(outputs[-1], "cells").means
    assert outputs[-1].verdict is Verdict.UNDECIDED


def test_a_board_that_only_started_again_is_no_fault():
    fed = items()
    half = len(fed) // 2

    outputs, _ = answers([*fed[:half], Hello(fed[half].received_us[0], "board", {**BOARD, "boot": 2}), *fed[half:]])

    assert found(outputs[-1], "cells").result is Result.PASSED


def test_a_gain_other_than_the_rig_file_asks_for_forbids_the_verdict():
    channels = tuple(c.model_copy(update={"gain": 64}) if c.name == "hands" else c for c in RIG.channels)
    pipeline = Pipeline(RIG.model_copy(update={"channels": channels}), CALIBRATION)
    outputs = [out for item in items() for out in pipeline.feed(item) if isinstance(out, Onset)]

    assert "gain of hands is 128, the rig file asks for 64" in found(outputs[-1], "cells").means


def test_calling_it_enough_on_the_way_out_makes_so_far_one_way_one_way():
    plan = replace(PLAN, positions_mm=(80.0, 70.0, 60.0, 50.0, 40.0, 45.0))
    rng_items = ridden(pieces=100)
    begun = beginning(plan, mass_kg=75.0, channels=("tilt", "hands", "saddle"), zero_counts=None)
    rng_items[1] = Event(1, SWEEP_BEGUN, begun)
    positions = iter(plan.positions_mm)
    fed = [
        Event(i.received_us, FITTER, {**i.content, "setback_mm": next(positions)})
        if isinstance(i, Event) and i.content.get("event") == "saddle_moved"
        else i
        for i in rng_items
    ]
    end_us = 14 * 5 * 1_000_000 + 10

    outputs, _ = answers([*fed, Event(end_us, FITTER, {"event": "enough"})])

    so_far, ended = [out for out in outputs if isinstance(out, Onset)][-2:]
    assert "so far one way" in found(so_far, "direction").means
    assert found(ended, "direction").result is Result.FAILED
    assert not any("so far" in reason for reason in ended.reasons)


def test_a_step_knows_when_the_saddle_was_confirmed_and_how_the_jig_was_set():
    fed = [
        Event(i.received_us, FITTER, {**i.content, "setting": {"bar_x_mm": 540.0}})
        if isinstance(i, Event) and i.content.get("event") == "saddle_moved"
        else i
        for i in items()
    ]
    steps = [out for out in answers(fed)[0] if isinstance(out, StepMean)]

    assert [round(60.0 * step.moved_min) for step in steps] == [0, 14, 28, 42, 56]
    assert {step.setting.bar_x_mm for step in steps} == {540.0}


def test_the_weight_line_of_a_recorded_sweep_is_that_of_the_body_that_rode_it():
    """Statics of the simulated rider's segments, which the jig's cells know nothing of."""
    outputs = list(replayed(read_recording(RECORDING)))
    steps = [out for out in outputs if isinstance(out, StepMean)]
    lines = {step.setback_mm: step.weight_line_mm for step in steps if np.isfinite(step.weight_line_mm)}
    body = {s: 1000.0 * posture(RiderModel(), JigGeometry(), s, 0.0).weight_line_m for s in lines}
    front, rear = min(lines), max(lines)

    def slope(of):
        return (of[front] - of[rear]) / (rear - front)

    assert slope(lines) == pytest.approx(slope(body), abs=0.05)
    last = [out for out in outputs if isinstance(out, Onset)][-1]
    assert found(last, "hips").result is Result.PASSED
    assert found(last, "hips").value == pytest.approx(0.86, abs=0.05)


def test_the_pull_that_a_rig_file_states_is_in_every_steps_weight_line_and_said_beside_the_hips():
    """Moments about the BB by hand, bar 20 mm below the saddle: (y_h - y_s) T_h / W' is taken off. No slope moves."""
    recording = read_recording(RECORDING)
    unseen = '[unseen]\nhands_tangential_n = -60.0\nhands_tangential_u_n = 40.0\nsource = "a test"\n'
    told = replace(recording, header={**recording.header, "rig": recording.header["rig"] + unseen})

    assumed, stated = (list(replayed(one)) for one in (recording, told))

    (a, b) = ([out for out in outputs if isinstance(out, StepMean)] for outputs in (assumed, stated))
    moved_mm = np.array([two.weight_line_mm - one.weight_line_mm for one, two in zip(a, b, strict=True)])
    known = np.isfinite(moved_mm)
    assert known.sum() == 10  # the power sensor was not yet heard at the first position
    assert moved_mm[known] == pytest.approx(-1000.0 * (0.68 - 0.70) * -60.0 / (75.0 * 9.80665), abs=1e-3)
    assert all(two.u_weight_line_mm > 2.0 * one.u_weight_line_mm for one, two in zip(a[1:], b[1:], strict=True))
    hips = [found([out for out in outputs if isinstance(out, Onset)][-1], "hips") for outputs in (assumed, stated)]
    assert [one.value for one in hips] == pytest.approx([hips[0].value] * 2, abs=1e-4)
    assert "; the hands' force along the jig is not measured: taken as 0 ± 20 N" in hips[0].means
    assert "taken as -60 ± 40 N (standard uncertainty; a test)" in hips[1].means
