"""Whole sweeps on rigs that lack sensors: over a pseudo-terminal, stored, and computed again to the same bits."""

import json
from dataclasses import replace

import pytest
import uvloop

from daq.cli.telling import answer_lines, step_line
from daq.fit.prechecks import CheckState
from daq.keep.again.recompute import recompute_stored
from daq.keep.store import Store
from daq.live.demo import Demo
from daq.live.session.readings import readings
from daq.live.telling import view
from daq.values import NAN, Onset, Result, StepMean, Verdict


class Ridden:
    def __init__(self, folder, roles, wrong=()):
        self.path = folder / "store.sqlite"
        outputs = []
        made = Demo(
            Store.open(self.path), kind="hinge", seed=1, pace=100.0, roles=roles, wrong=wrong, on_output=outputs.append
        )
        self.demo = made
        uvloop.run(made.run(None, by_hand=False, when_done=self.look))
        self.steps = [one for one in outputs if isinstance(one, StepMean)]
        self.answer = [one for one in outputs if isinstance(one, Onset)][-1]

    def look(self):
        session = self.demo.session
        standing = session.calibrating.status()
        self.readings = readings(session.acquisition, plan=None, zero_us=None, calibration=standing)
        self.snapshot = json.loads(view.snapshot(session))


@pytest.fixture(scope="module")
def hands_only(tmp_path_factory):
    return Ridden(tmp_path_factory.mktemp("hands"), ("hands",))


def test_a_board_with_hands_alone_rides_to_an_onset(hands_only):
    truth_mm = hands_only.demo.jig.truth().onset_mm
    low, high = hands_only.answer.interval_95_mm

    assert hands_only.answer.verdict is Verdict.ONSET
    assert low <= truth_mm <= high
    assert len(hands_only.steps) == 11


def test_what_it_does_not_measure_is_not_measured_and_never_nought(hands_only):
    assert all(step.saddle_load_n != step.saddle_load_n for step in hands_only.steps)
    assert all(stroke.feet_n != stroke.feet_n for step in hands_only.steps for stroke in step.strokes)
    assert "saddle not measured" in step_line(hands_only.steps[0], 1, 11)
    assert hands_only.snapshot["steps"][0]["saddle_load_n"] is None


def test_a_steps_line_says_how_well_the_setback_is_known(hands_only):
    """1 mm, as the jig's scale has it unless the rig file says otherwise."""
    step = hands_only.steps[0]

    assert f" {step.setback_mm:.1f} mm (u 1.0)   hands " in step_line(step, 1, 11)
    assert " mm (u 0.3)   hands " in step_line(replace(step, u_setback_mm=0.3), 1, 11)
    assert " mm   hands " in step_line(replace(step, u_setback_mm=NAN), 1, 11)


def test_the_answer_carries_what_it_rests_on(hands_only):
    answer = hands_only.answer

    assert answer.grade == "measured: hands and effort; not measured: saddle, tilt and hips"
    assert f"evidence: {answer.grade}" in answer_lines(answer)
    not_made = {one.test: one for one in answer.validity if one.result is Result.NOT_MADE}
    assert not_made.keys() >= {"feet", "tilt", "hips"}
    assert "no cell under the saddle" in not_made["hips"].means
    assert hands_only.snapshot["onset"]["grade"] == answer.grade
    assert hands_only.snapshot["onset"]["all_measured"] is False


def test_a_check_without_its_sensor_says_so_and_nothing_waits_for_it(hands_only):
    from daq.fit.prechecks import Measured, open_in_the_way, prechecks
    from tests.fit.intakes import INTAKE

    checks = prechecks(INTAKE, Measured(), hands_only.readings, {})
    weights = next(one for one in checks if one.key == "weights")

    assert weights.state is CheckState.NOT_MEASURED
    assert "sum of the loads" not in open_in_the_way(checks)


def test_it_is_computed_again_to_the_same_bits(hands_only):
    with Store.open(hands_only.path, write=False) as store:
        again = recompute_stored(store, 1)

    assert repr(again.onset) == repr(hands_only.answer)
    assert repr(again.steps) == repr(tuple(hands_only.steps))


def test_without_a_power_sensor_a_rise_is_seen_and_no_onset_named(tmp_path):
    ridden = Ridden(tmp_path, ("hands",), wrong=("no-power",))
    answer = ridden.answer

    assert answer.verdict is Verdict.RISE_SEEN
    assert answer.onset_mm is None
    assert answer.suggested_setback_mm is None
    assert "rise seen, effort not measured" in answer.reasons[0]
    assert "verdict: rise seen, effort not measured" in answer_lines(answer)
    assert answer.grade == "measured: hands; not measured: saddle, effort, tilt and hips"
