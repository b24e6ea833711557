"""The main job end to end: simulated rider, pseudo-terminal, store, pipeline, answer, recording, replay."""

import json
import math
import subprocess
import sys
from dataclasses import replace

import pytest
import uvloop
from click.testing import CliRunner

from daq.cli import main
from daq.cli.demo import MEASURES
from daq.keep.again.recompute import recompute_stored
from daq.keep.again.replay import replayed
from daq.keep.recording import read_recording
from daq.keep.store import Store
from daq.live.demo import PLAN, Demo, ridden_s
from daq.rider.jig import SimulatedJig
from daq.sweep.contract import contract
from daq.sweep.order import with_sham
from daq.sweep.run import State, Trigger
from daq.values import Onset, StepMean, Stroke, Verdict
from tests.live.jig import SHORT, demo, run, under_way
from tests.sources.waiting import until


@pytest.fixture(scope="module")
def ridden(tmp_path_factory):
    """A whole demo sweep, what came out of it live, and its files."""
    folder = tmp_path_factory.mktemp("demo")
    outputs = []
    with demo(folder, record=folder / "sweep.rec", on_output=outputs.append) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))
    return folder, running, outputs


def kept(outputs, *kinds):
    return [output for output in outputs if isinstance(output, kinds)]


def bits(outputs):
    """Steps and answers to the last bit; as text, because a missing torque is NaN and NaN equals nothing."""
    return [repr(output) for output in kept(outputs, StepMean, Onset)]


def test_the_demo_finishes_its_plan_with_an_answer(ridden):
    _, running, outputs = ridden

    assert running.session.sweep.progress.state is State.FINISHED
    assert [step.setback_mm for step in kept(outputs, StepMean)] == list(running.plan.positions_mm)
    assert kept(outputs, Onset)[-1] == running.session.acquisition.ride.onset


def test_the_recording_replays_to_the_same_steps_and_onset_bit_for_bit(ridden):
    folder, _, outputs = ridden

    again = list(replayed(read_recording(folder / "sweep.rec")))

    assert bits(again) == bits(outputs)
    assert bits(again)


def test_the_stored_sweep_computes_again_to_the_same_bits(ridden):
    folder, running, outputs = ridden

    with Store.open(folder / "demo.sqlite", write=False) as store:
        again = recompute_stored(store, 1)

    assert repr(list(again.steps)) == repr(kept(outputs, StepMean))
    assert repr(again.onset) == repr(running.session.acquisition.ride.onset)


def test_every_result_is_stored_with_its_method_and_the_sweep_is_closed(ridden):
    folder, running, outputs = ridden

    with Store.open(folder / "demo.sqlite", write=False) as store:
        (sweep,) = store.sweeps()
        results = store.results(sweep.id)
        session = store.session(sweep.session_id)

    assert sweep.state == "finished"
    assert session.simulated
    assert session.ended_us is not None
    assert [r.kind for r in results].count("step") == len(kept(outputs, StepMean))
    assert results[-1].method == running.session.acquisition.ride.onset.method


def test_strokes_carry_the_torque_the_power_sensor_measured(ridden):
    _, _, outputs = ridden

    torques = [stroke.crank_torque_nm for stroke in kept(outputs, Stroke)[-20:]]

    # 200 W at 90 rpm: Q = 60 P / (2 pi n) = 21.22 N m
    assert sum(torques) / len(torques) == pytest.approx(21.22, abs=1.0)


def test_a_replay_prints_its_answer_and_the_recorded_one_in_the_words_of_the_contract(ridden):
    folder, running, _ = ridden
    done = CliRunner().invoke(main, ["replay", str(folder / "sweep.rec"), "--json"])

    said = contract(running.session.acquisition.ride.onset)
    content = json.loads(done.stdout)
    assert content["onset"] == content["recorded_onset"] == json.loads(json.dumps(said))
    assert {"verdict", "interval"} <= set(said["validity"][0])


def test_the_command_ends_by_itself_with_the_truth_beside_the_estimate(tmp_path):
    command = [sys.executable, "-m", "daq.cli", "demo", "--headless", "--json", "--pace", "100"]

    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)

    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["simulated"] is True
    assert answer["verdict"] == Verdict.ONSET
    low, high = answer["interval_95_mm"]
    assert low <= answer["truth"]["onset_mm"] <= high
    assert {one["verdict"] for one in answer["validity"]} <= {"passed", "failed", "not made"}
    assert all("interval" in one for one in answer["validity"])
    assert "step 11/11" in done.stderr


@pytest.mark.parametrize("measures", ["full", "hands-and-saddle", "hands"])
def test_a_loaded_rider_is_called_loaded_throughout(tmp_path, measures):
    with demo(tmp_path, plan=PLAN, kind="loaded", roles=MEASURES[measures]) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))

    assert running.session.acquisition.ride.onset.verdict is Verdict.LOADED


def test_what_is_wrong_with_the_rider_stands_in_the_recording_and_beside_the_answer(tmp_path):
    words = ["--kind", "straight", "--with", "sliding=50", "--with", "no-power", "--with", "saturated=5"]
    recording = tmp_path / "sweep.rec"
    command = [
        sys.executable,
        "-m",
        "daq.cli",
        "demo",
        "--headless",
        "--json",
        "--pace",
        "100",
        "--record",
        str(recording),
    ]

    done = subprocess.run([*command, *words], capture_output=True, text=True, timeout=120, check=False)

    assert done.returncode == 0, done.stderr
    header = read_recording(recording).header
    answer = json.loads(done.stdout)
    truth = answer["truth"]
    assert answer["verdict"] is None
    assert header["truth"] == truth
    assert header["simulated"] is True
    assert "simulated" in truth["label"]
    assert (truth["kind"], truth["onset_mm"]) == ("straight", None)
    assert [(each["name"], each["size"]) for each in truth["confounds"]] == [
        ("sliding", 50.0),
        ("no-power", 1.0),
        ("saturated", 5.0),
    ]
    assert "wrong in the simulation: the hips stay in space" in done.stderr
    # no stroke counts under a converter at its end: the fitter gives up on the fifth place, and no torque was told
    assert "step  4/11" in done.stderr
    assert "step  5/11" not in done.stderr
    assert "torque unknown" in done.stderr


def test_a_saddle_put_back_where_it_was_is_a_visit_of_its_own(tmp_path):
    plan = replace(SHORT, positions_mm=with_sham(SHORT.positions_mm))
    with demo(tmp_path, plan=plan) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))

        assert running.jig.place == len(running.session.sweep.progress.steps) == 7


def test_a_blinded_rider_rides_a_blinded_plan(tmp_path):
    with demo(tmp_path, wrong=["blinded", "expectation"]) as running:
        assert running.truth_fields()["confounds"][0]["name"] == "blinded"

    assert Demo(Store.open(tmp_path / "other.sqlite"), kind="flat", seed=1, pace=30.0, wrong=["blinded"]).plan.blinded


def test_a_rider_ridden_by_hand_tires_from_the_first_step_and_not_while_the_fitter_takes_his_time(tmp_path):
    """What is left of the rider's clock when the saddle is first set is no part of the ride, nor when it is set
    again."""

    async def ridden(running):
        session, jig, told = running.session, running.jig, []
        tire = jig.tire
        jig.tire = lambda from_s, over_s: (tire(from_s, over_s), told.append((jig.t_s, from_s, over_s)))

        async def inside():
            await under_way(session)
            await until(lambda: jig.t_s > 30.0)
            assert told == [(0.0, math.inf, ridden_s(SHORT))]
            await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)
            await until(lambda: session.sweep.progress.state is State.MOVING)
            moved_s = jig.t_s
            await until(lambda: jig.t_s > moved_s + 2.0)  # the demo has seen that the saddle is moved
            await session.sweep.fitter(Trigger.SADDLE_MOVED, 70.0)
            await until(lambda: session.sweep.progress.state is State.AVERAGING)

        await running.run_until(None, inside())
        return told

    with demo(tmp_path, wrong=("fatigue-late=25",)) as running:
        _, (at_s, from_s, over_s) = run(ridden(running))

    assert at_s == from_s > 30.0
    assert over_s == ridden_s(SHORT)


def test_a_plan_the_demo_rides_itself_leaves_fatigue_to_the_jigs_clock(tmp_path, monkeypatch):
    monkeypatch.setattr(SimulatedJig, "tire", lambda *_: pytest.fail("as it always was, bit for bit"))

    with demo(tmp_path, wrong=("fatigue-late=25",)) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))

    assert running.session.sweep.progress.state is State.FINISHED
