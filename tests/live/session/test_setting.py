"""Confirming what was set, with one press or with a correction, on the simulated jig."""

import pytest

from daq.live.telling.sweep_view import place_at, steps, sweep_status
from daq.refusals import BadValue, NotNow
from daq.rider.jig_geometry import JigGeometry
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import State, Trigger
from tests.live.jig import demo, run, serving
from tests.sources.waiting import until

BAR_MM = 1000.0 * JigGeometry().bar_x_m
"""Of the simulated jig's rig file."""
STARTED = Plan(out_and_back(80.0, 30.0, 6), start_setback_mm=80.0, start_height_mm=720.0, dwell_s=8.0, torque_band_nm=2)


def confirming(tmp_path, inside):
    async def prepared():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        await session.sweep.begin(STARTED)
        await session.sweep.fitter(Trigger.BEGIN)
        await inside(session)

    with demo(tmp_path) as running:
        run(serving(running, prepared))


def test_one_press_confirms_all_as_planned(tmp_path):
    async def inside(session):
        target = sweep_status(session)["target"]
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})

        found = sweep_status(session)
        assert found["set"] == target
        assert (target["setback_mm"], target["bar_x_mm"], target["saddle_height_mm"]) == (80.0, BAR_MM, 720.0)
        assert (target["reach_change_mm"], target["drop_change_mm"]) == (0.0, 0.0)
        assert session.sweep.progress.setting.bar_x_mm == BAR_MM

    confirming(tmp_path, inside)


def test_one_value_is_corrected_and_the_rest_is_as_planned_and_the_next_counts_from_it(tmp_path):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0, {"bar_x_mm": BAR_MM - 10.0, "saddle_tilt_deg": None})
        assert sweep_status(session)["set"]["reach_change_mm"] == -10.0
        assert sweep_status(session)["set"]["saddle_height_mm"] == 720.0
        assert sweep_status(session)["set"]["saddle_tilt_deg"] is None

        await until(lambda: session.sweep.progress.steps)
        assert steps(session)[0]["setting"]["bar_x_mm"] == BAR_MM - 10.0
        assert sweep_status(session)["target"]["setback_mm"] == 60.0
        assert sweep_status(session)["target"]["bar_x_mm"] == BAR_MM + 10.0

    confirming(tmp_path, inside)


def test_what_belongs_to_another_setback_is_told_before_it_is_confirmed_and_is_what_is_then_taken(tmp_path):
    async def inside(session):
        asked, there = sweep_status(session)["target"], place_at(session, 73.0)
        assert there["bar_x_mm"] == BAR_MM + 7.0, "the reach is kept"
        assert there["saddle_height_mm"] != asked["saddle_height_mm"], "the leg's extension is kept"
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 73.0, {})

        assert sweep_status(session)["set"] == there

    confirming(tmp_path, inside)


def test_without_a_sweep_nothing_belongs_to_a_setback(tmp_path):
    async def inside():
        with pytest.raises(NotNow, match="no sweep is set up"):
            place_at(running.session, 73.0)

    with demo(tmp_path) as running:
        run(serving(running, inside))


def test_without_a_setting_nothing_is_taken_as_confirmed(tmp_path):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 80.0)

        assert sweep_status(session)["set"]["bar_x_mm"] is None

    confirming(tmp_path, inside)


def test_after_a_rest_the_jig_still_stands_as_it_was_confirmed_until_that_is_undone(tmp_path):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={"bar_x_mm": BAR_MM - 10.0})
        await session.sweep.fitter(Trigger.PAUSE)
        await session.sweep.fitter(Trigger.RESUME)
        assert session.sweep.progress.state is State.MOVING
        assert sweep_status(session)["set"]["bar_x_mm"] == BAR_MM - 10.0

        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})
        await session.sweep.fitter(Trigger.UNDO)
        assert sweep_status(session)["set"] is None

    confirming(tmp_path, inside)


def test_a_setting_the_jig_cannot_have_is_refused_at_once(tmp_path):
    async def inside(session):
        with pytest.raises(BadValue, match=r"saddle_height_mm: .*centimetres"):
            await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={"saddle_height_mm": 72.0})
        assert session.sweep.progress.state is State.MOVING

    confirming(tmp_path, inside)


def test_after_the_first_steps_the_sweep_says_what_can_still_be_found(tmp_path):
    async def inside(session):
        assert sweep_status(session)["outlook"] is None
        while len(session.sweep.progress.steps) < 3:
            await until(lambda: session.sweep.progress.state is State.MOVING)
            await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})
            steps = len(session.sweep.progress.steps)
            await until(lambda steps=steps: len(session.sweep.progress.steps) > steps)
        await until(lambda: sweep_status(session)["outlook"] is not None)

        found = sweep_status(session)["outlook"]
        assert "would be found less than half the time in the" in found["sentence"]
        assert found["smallest_n_per_mm"] > 0.0

    confirming(tmp_path, inside)


def test_a_bar_set_far_from_the_plan_is_taken_and_said_at_once(tmp_path):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})
        await until(lambda: session.sweep.progress.steps)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={"bar_x_mm": BAR_MM - 20.0})

        assert any(
            "bar forward" in note.text and "undo if mistyped" in note.text for note in session.acquisition.notices
        )
        assert session.sweep.progress.setting.bar_x_mm == BAR_MM - 20.0

    confirming(tmp_path, inside)


def test_the_first_bar_is_held_against_the_rig_files_and_said_at_once(tmp_path):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})
        assert not [note for note in session.acquisition.notices if "taken as set" in note.text]
        await session.sweep.fitter(Trigger.UNDO)
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={"bar_x_mm": BAR_MM + 200.0})

        (said,) = [note for note in session.acquisition.notices if "taken as set" in note.text]
        assert said.text.startswith(f"bar forward {BAR_MM + 200.0:g} mm is taken as set, {BAR_MM:.0f} mm was planned")
        assert said.level == "caution"

    confirming(tmp_path, inside)


@pytest.mark.parametrize("setting", [None, {}])
def test_a_setback_far_from_the_asked_one_is_taken_with_a_word_to_the_fitter(tmp_path, setting):
    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 70.0, setting)

        said = [note.text for note in session.acquisition.notices if "was asked" in note.text]
        assert said == ["80 mm was asked, 70 mm is taken as set; undo if mistyped"]

    confirming(tmp_path, inside)


def test_a_setback_off_its_place_is_named_before_the_bar_that_no_longer_belongs_to_it_in_one_notice(tmp_path):
    """The page sends what its card showed for the setback that was asked: the bar as for 60 mm, the saddle at 70 mm."""

    async def inside(session):
        await session.sweep.fitter(Trigger.SADDLE_MOVED, setting={})
        await until(lambda: session.sweep.progress.steps)
        asked = sweep_status(session)["target"]
        await session.sweep.fitter(Trigger.SADDLE_MOVED, 70.0, {"bar_x_mm": asked["bar_x_mm"]})

        (said,) = [note.text for note in session.acquisition.notices if "taken as set" in note.text]
        assert asked["setback_mm"] == 60.0
        assert said.startswith(f"60 mm was asked, 70 mm is taken as set; bar forward {BAR_MM + 20.0:g} mm is taken")
        assert f"{BAR_MM + 10.0:.0f} mm goes with 70 mm" in said

    confirming(tmp_path, inside)
