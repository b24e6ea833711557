"""A sweep on a simulated jig that reads where saddle and bar stand: hello, scans, fitter's press, steps and answer."""

import math

import pytest
import uvloop

from daq.keep.again.recompute import recompute_stored
from daq.keep.store import Store
from daq.live import demo
from daq.live.session import beat
from daq.live.telling.sweep_view import sweep_status
from daq.measure.positions import Positions
from daq.refusals import NotNow
from daq.rider.position_sensors import SENSORS
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import State, Trigger
from daq.values import SEAT_TUBE_DEG, Onset, Result, StepMean
from daq.wire.board import ChannelKind

WITH_POSITIONS = (*demo.ROLES, demo.POSITIONS)
SHORT = Plan(out_and_back(80.0, 30.0, 6), settle_s=3.0, dwell_s=5.0, power_w=200.0, cadence_rpm=90.0)


class Ridden:
    def __init__(self, folder, monkeypatch, *wrong):
        monkeypatch.setattr(demo, "PLAN", SHORT)
        monkeypatch.setattr(beat, "TICK_S", 0.01)  # at this pace a usual beat is longer than a dwell
        self.path, self.notes = folder / "store.sqlite", []
        outputs, self.stood_mm = [], []
        made = demo.Demo(
            Store.open(self.path), kind="hinge", seed=1, pace=100.0, roles=WITH_POSITIONS, wrong=wrong,
            on_output=outputs.append,
        )  # fmt: skip
        put = made.jig.place_saddle
        made.jig.place_saddle = lambda mm: (put(mm), self.stood_mm.append(made.jig.setback_mm))
        uvloop.run(made.run(None, by_hand=False, when_done=lambda: None))
        self.session, self.jig = made.session, made.jig
        self.steps = [one for one in outputs if isinstance(one, StepMean)]
        self.answer = [one for one in outputs if isinstance(one, Onset)][-1]
        self.cells = next(one for one in self.answer.validity if one.test == "cells")


def test_what_the_encoders_read_is_what_counts(tmp_path, monkeypatch):
    """The saddle is put 2 mm (sd) beside its mark, and the encoders know; heights by the triangle of BB, hip and saddle
    that the simulated rider sits on."""
    ridden = Ridden(tmp_path, monkeypatch, "placement=2")
    at = ridden.jig.geometry

    read_mm = [step.setback_mm for step in ridden.steps]
    assert read_mm == pytest.approx(ridden.stood_mm, abs=0.06)
    assert max(abs(read - asked) for read, asked in zip(read_mm, SHORT.positions_mm, strict=True)) > 0.5
    for step in ridden.steps:
        assert step.u_setback_mm == 0.3
        assert step.setting.bar_x_mm == pytest.approx(1000.0 * at.grip_m(step.setback_mm)[0], abs=0.2)
        assert step.setting.bar_y_mm == pytest.approx(1000.0 * at.grip_m(step.setback_mm)[1], abs=0.2)
        along_mm = 1000.0 * at.saddle_top_m(step.setback_mm) / math.sin(math.radians(SEAT_TUBE_DEG))
        assert step.setting.saddle_height_mm == pytest.approx(along_mm, abs=0.2)
    assert ridden.cells.result is Result.PASSED
    assert sweep_status(ridden.session)["measured"]["setback_mm"] == pytest.approx(ridden.jig.setback_mm, abs=0.1)
    assert [one["kind"] for one in ridden.session.acquisition.pipeline.board["channels"][-4:]] == [
        ChannelKind.POSITION
    ] * 4
    with Store.open(ridden.path, write=False) as store:
        again = recompute_stored(store, 1)
    assert repr(again.steps) == repr(tuple(ridden.steps))
    assert repr(again.onset) == repr(ridden.answer)


def before_each_press(monkeypatch, act):
    """act(session, accept, event, setback_mm, setting) comes before every press of the simulated fitter."""
    follow = demo.follow_plan

    async def follow_so(session, plan):
        accept = session.sweep.fitter

        async def pressed(event, setback_mm=None, setting=None):
            await act(session, accept, event, setback_mm, setting)
            await accept(event, setback_mm, setting)

        session.sweep.fitter = pressed
        await follow(session, plan)

    monkeypatch.setattr(demo, "follow_plan", follow_so)


def test_the_reading_of_an_encoder_that_did_not_move_is_refused_until_a_setback_is_entered(tmp_path, monkeypatch):
    refused = []

    async def without_the_setback(session, accept, event, setback_mm, setting):
        if setback_mm is not None:
            steps = len(session.sweep.progress.steps)
            with pytest.raises(NotNow) as said:
                await accept(event, None, setting)
            if "within half a second" in str(said.value):  # the last of the move came late; he presses again
                raise said.value
            assert "saddle_slide: moved by 0.0 mm where a move of" in str(said.value)
            refused.append((steps, str(said.value)))
            assert session.sweep.progress.state is State.MOVING

    before_each_press(monkeypatch, without_the_setback)
    ridden = Ridden(tmp_path, monkeypatch, "slide-sticks=6")

    assert [steps for steps, _ in refused] == [5]
    assert "enter the setback from the jig's scale" in refused[0][1]
    assert ridden.steps[-1].setback_mm == SHORT.positions_mm[-1]


def test_an_encoder_that_jumped_is_refused_at_every_later_position_and_all_of_them_are_told(tmp_path, monkeypatch):
    refused = []

    async def without_the_setback(session, accept, event, setback_mm, setting):
        if setback_mm is not None:
            with pytest.raises(NotNow) as said:
                await accept(event, None, setting)
            if "within half a second" in str(said.value):
                raise said.value
            refused.append(str(said.value))

    before_each_press(monkeypatch, without_the_setback)
    ridden = Ridden(tmp_path, monkeypatch, "slide-jumps=3")

    asked = [f"{mm:g}" for mm in SHORT.positions_mm]
    assert [step.setback_mm for step in ridden.steps[3:]] == list(SHORT.positions_mm[3:])
    for said, mm in zip(refused, SHORT.positions_mm[3:], strict=True):
        assert said.endswith(f"where {mm:g} mm is asked, and was wrong before: enter the setback from the jig's scale")
    assert all(mm in ridden.cells.cure for mm in asked[3:])
    assert ridden.cells.cure.startswith("this sweep can have no verdict (a position sensor was wrong at")


def test_what_is_read_of_a_saddle_that_still_moves_is_not_taken(tmp_path, monkeypatch):
    refused = []

    async def too_early(session, accept, event, setback_mm, setting):
        if event is Trigger.SADDLE_MOVED and not refused:
            with monkeypatch.context() as during:
                during.setattr(Positions, "moves", lambda _: "saddle_slide: moved by 3.0 mm")
                with pytest.raises(NotNow, match="moved by 3") as said:
                    await accept(event, setback_mm, setting)
            refused.append(str(said.value))
            assert session.sweep.progress.state is State.MOVING

    before_each_press(monkeypatch, too_early)
    ridden = Ridden(tmp_path, monkeypatch)

    assert refused
    assert len(ridden.steps) == len(SHORT.positions_mm)


def test_an_encoder_that_sticks_is_named_and_takes_the_verdict(tmp_path, monkeypatch):
    ridden = Ridden(tmp_path, monkeypatch, "slide-sticks=6")

    assert ridden.steps[-1].setback_mm == SHORT.positions_mm[-1]
    assert ridden.cells.forbids
    assert f"mm where {SHORT.positions_mm[-1]:g} mm was entered" in ridden.cells.means
    assert ridden.answer.onset_mm is None


def test_a_fault_of_a_sensor_there_is_not_is_refused():
    with pytest.raises(ValueError, match="slide-jumps=4: this jig has no position sensors; add --measures"):
        demo.Demo(None, kind="hinge", seed=1, pace=40.0, wrong=("slide-jumps=4",))


def test_the_boards_hello_names_every_encoder_of_the_rig_file():
    from daq.rider.electronics import Electronics
    from daq.sources.simulator import hello_of

    channels = hello_of(Electronics(), reads_positions=True).channels
    assert [one.name for one in channels if one.kind is ChannelKind.POSITION] == list(SENSORS)
    assert all(one.kind is not ChannelKind.POSITION for one in hello_of(Electronics()).channels)
