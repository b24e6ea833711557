"""A jig with cells that measure forces along it: statics by hand, from the board's counts to the weight line."""

import asyncio
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from daq.fit.intake import OwnBicycle
from daq.fit.on_bicycle import on_bicycle
from daq.fit.ridden import Ridden
from daq.jig import levers_of
from daq.keep.again.derived import Derived
from daq.keep.package.channels import channel_table
from daq.keep.package.computed_tables import derived_tables
from daq.live.session.readings import sum_while_riding
from daq.live.session.zero_desk import ZeroDesk
from daq.measure.balance import CELLS_U_N
from daq.measure.calibration import to_dict
from daq.pipeline import Pipeline
from daq.rig_file import RigError, parse_rig
from daq.values import Loads, Onset, Result, StepMean
from tests.pulled import BAR, CALIBRATION, PULL_N, ROLES, SADDLE_Y_M, SEAT_N, items
from tests.ridden import PLAN, kept
from tests.rigs import rig_text

STILL_N = np.array([90.0, 387.3, 258.2, SEAT_N, PULL_N])
"""The cells' loads of 75 kg with the feet off the pedals, in their order."""
BICYCLE = OwnBicycle(wheelbase_mm=985, chainstay_mm=410, bb_drop_mm=70, wheel_radius_mm=340, mass_kg=8.5)


def rig_of(**roles):
    text = rig_text(channels={**ROLES, **roles}).replace("bar_y_m = 0.66", f"bar_y_m = {BAR[1]}")
    for name, x_mm in (("nose", -60.0), ("rear", -240.0)):
        text = text.replace(f'name = "{name}"\n', f'name = "{name}"\nx_mm = {x_mm}\n')
    return parse_rig(text)


RIGS = {"both": rig_of(), "hands alone": rig_of(seat="unused"), "neither": rig_of(seat="unused", pull="unused")}
BOTH = RIGS["both"]


@pytest.fixture(scope="module")
def swept():
    """The outputs of one sweep, by rig."""
    found = {}
    for name, rig in RIGS.items():
        pipeline = Pipeline(rig, CALIBRATION)
        found[name] = ([out for item in items() for out in pipeline.feed(item)], pipeline)
    return found


def steps_of(swept, name):
    return [step for step in kept(swept[name][0], StepMean) if np.isfinite(step.crank_torque_nm)]


def by_hand_mm(step, hands_t, saddle_t):
    """[x_h N_h + x_s N_s - y_h T_h - y_s T_s + Q]/W', the bar going with the saddle from the first position on."""
    bar_x_m = BAR[0] - (step.setback_mm - PLAN.reference_setback_mm) / 1000.0
    saddle_x_m = 0.6 * -0.060 + 0.4 * -0.240 - step.setback_mm / 1000.0
    moment = bar_x_m * step.hand_load_n + saddle_x_m * step.saddle_load_n + step.crank_torque_nm
    moment -= BAR[1] * hands_t + SADDLE_Y_M * saddle_t
    return 1000.0 * moment / (75.0 * 9.80665 * np.cos(np.radians(step.tilt_deg)))


def test_with_both_cells_the_weight_line_is_that_of_statics_by_hand(swept):
    steps = steps_of(swept, "both")

    assert len(steps) >= 4
    for step in steps:
        assert step.weight_line_mm == pytest.approx(by_hand_mm(step, PULL_N, SEAT_N), abs=0.02)


def test_the_hands_cell_alone_takes_the_place_of_what_is_assumed_and_the_feet_stay_unseen(swept):
    """The saddle is taken to hold what the hands pull, and the slope of the jig's own tilt."""
    for step, assumed in zip(steps_of(swept, "hands alone"), steps_of(swept, "neither"), strict=True):
        weight_t = 75.0 * 9.80665 * np.sin(np.radians(step.tilt_deg))
        assert step.weight_line_mm == pytest.approx(by_hand_mm(step, PULL_N, weight_t - PULL_N), abs=0.02)
        assert assumed.weight_line_mm == pytest.approx(by_hand_mm(assumed, 0.0, weight_t), abs=0.02)
        assert step.weight_line_mm - assumed.weight_line_mm == pytest.approx(4.89, abs=0.01)  # 0.06 m, 60 N, 735.5 N
        # the feet may hold 0.6 of 60 N, 0.70 m from the axis; with both cells nothing is unseen
        assert step.u_weight_line_mm > 1000.0 * 0.70 * 36.0 / 735.5 > assumed.u_weight_line_mm
    assert all(step.u_weight_line_mm < 7.0 for step in steps_of(swept, "both"))


def on_own_bicycle(swept, name):
    sweep = Ridden(1, PLAN, "finished", tuple(steps_of(swept, name)), None, 75.0)
    return on_bicycle(sweep, RIGS[name], BICYCLE, 55.0)


def test_the_front_wheel_and_the_moment_the_hands_hold_rest_on_what_was_measured(swept):
    """Moments about the rear contact: 75 kg by the weight line's move, over 83.5 kg by the wheelbase."""
    both, alone, neither = (on_own_bicycle(swept, name) for name in RIGS)
    moved_m = (BAR[1] - SADDLE_Y_M) * -PULL_N / 735.5

    assert alone.front_share.value - neither.front_share.value == pytest.approx(75.0 * moved_m / 83.5 / 0.985, rel=0.01)
    for measured in (both, alone):
        held_nm = measured.hands_off_deficit_nm.value - neither.hands_off_deficit_nm.value
        assert held_nm == pytest.approx(-(BAR[1] - SADDLE_Y_M) * PULL_N, abs=0.01)
    assert alone.front_share.high - alone.front_share.low > 2.0 * (both.front_share.high - both.front_share.low)


def test_the_moment_the_hands_hold_is_as_uncertain_as_their_cell_and_not_as_what_is_assumed_without_one(swept):
    """Assumed is 0 with a standard uncertainty of 20 N, a cell's is 2 N; each is in the half width, 1.96 times, with
    the height of the bar over the saddle for its lever. What else is in it is the same."""
    whole_nm = {}
    for name in ("hands alone", "neither"):
        held = on_own_bicycle(swept, name).hands_off_deficit_nm
        whole_nm[name] = held.high - held.low
    by_hand = (2 * 1.96 * (BAR[1] - SADDLE_Y_M)) ** 2 * (20.0**2 - CELLS_U_N**2)

    assert whole_nm["neither"] ** 2 - whole_nm["hands alone"] ** 2 == pytest.approx(by_hand, rel=0.02)


def test_without_the_place_of_every_saddle_cell_there_is_no_lever_of_any():
    """From the others alone, the load point would be theirs."""
    rear = next(i for i, channel in enumerate(BOTH.channels) if channel.name == "rear")
    channels = list(BOTH.channels)
    channels[rear] = channels[rear].model_copy(update={"x_mm": None})
    rig = BOTH.model_copy(update={"channels": tuple(channels)})

    assert levers_of(BOTH).saddle_cells == ((1, -60.0), (2, -240.0))
    assert levers_of(rig).saddle_cells == ()


def test_what_is_assumed_is_said_only_where_something_is(swept):
    def said(name):
        (hips,) = (one for one in kept(swept[name][0], Onset)[-1].validity if one.test == "hips")
        return hips.means, on_own_bicycle(swept, name).rests_on

    for told in said("neither"):
        assert "taken as 0 ± 20 N" in told
    for told in said("hands alone"):
        assert "the saddle's is not: the feet may hold any part of it" in told
    assert "along the jig" not in said("both")[0]
    assert said("both")[1] == ""


def test_no_check_takes_a_force_along_the_jig_for_a_load(swept):
    """Neither a swapped wire, since -60 N are no load below zero, nor another hand."""
    outputs, pipeline = swept["both"]
    answer = kept(outputs, Onset)[-1]

    assert pipeline.cells.watches
    assert next(one for one in answer.validity if one.test == "cells").result is Result.PASSED
    assert swept["neither"][1].progress.steps[0].hand_load_n == pipeline.progress.steps[0].hand_load_n
    assert BOTH.normal_cells == ("hands", "nose", "rear")
    assert BOTH.cells == ("hands", "nose", "rear", "seat", "pull")


def test_the_sum_of_the_loads_is_that_of_the_cells_that_carry_weight(swept):
    """Riding, and on holds with the feet off the pedals: a pull of -60 N is next to nothing on a cell, or weight."""
    step = kept(swept["both"][0], StepMean)[0]
    loads = [replace(one, hands_n=one.hands_n * 0 + 90.0, saddle_n=one.saddle_n * 0 + 645.5, cells_n=STILL_N + 0 *
                     one.cells_n) for one in kept(swept["both"][0], Loads)[:1]]  # fmt: skip
    at = SimpleNamespace(
        rider=SimpleNamespace(mass_kg=75.0), rig=BOTH, drain=lambda: None, act=lambda *_: None,
        recent=SimpleNamespace(last=lambda _: loads), stored=lambda: asyncio.sleep(0),
    )  # fmt: skip

    riding = sum_while_riding(at, step.strokes[0])
    feet_off = asyncio.run(ZeroDesk(at, SimpleNamespace(refuse=lambda *_, **__: None), compensate=lambda: None).hold())

    assert (riding.passed, riding.suspects) == (True, ())
    assert feet_off.passed, feet_off.text


def test_its_load_is_exported_like_any_cells(swept):
    steps = tuple(kept(swept["both"][0], StepMean))
    derived = Derived(strokes=tuple(stroke for step in steps for stroke in step.strokes), steps=steps, cells=BOTH.cells)
    strokes = next(table for table in derived_tables("one", derived) if table.name == "strokes")
    text = rig_text(channels=ROLES)
    channels = channel_table("one", items(), to_dict(CALIBRATION), text)

    mean_n = np.mean(strokes.columns[[field.name for field in strokes.fields].index("cell_pull_n")])
    assert mean_n == pytest.approx(PULL_N, abs=0.01)
    rows = list(zip(*channels.columns, strict=True))
    at = [field.name for field in channels.fields]
    shown = {row[at.index("channel")]: (row[at.index("role")], row[at.index("load")]) for row in rows}
    assert shown["pull"] == ("hands tangential", "cell_pull_n")
    assert shown["seat"] == ("saddle tangential", "cell_seat_n")


def test_the_saddles_cell_along_the_jig_alone_is_refused():
    with pytest.raises(RigError, match="a channel with role 'hands tangential' where there is one with role 'saddle"):
        rig_of(pull="unused")
