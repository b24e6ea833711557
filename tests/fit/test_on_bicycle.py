import math
from dataclasses import replace

import numpy as np
import pytest

from daq.fit.on_bicycle import com_height_said, frame_of, on_bicycle, saddle_points_m
from daq.fit.ridden import Ridden
from daq.measure.calibration import CalibratedChannel, Calibration, Term, Uncertainty
from daq.rig import Unseen
from daq.sweep.plan import Plan
from daq.values import Setting
from tests.fit.sweeps import BICYCLE, RIG, SADDLE_N, ridden, step


def test_the_saddles_load_point_is_the_lever_of_its_two_cells():
    """150 mm behind the reference, which is 80 mm behind the BB: 0.23 m behind it."""
    points = saddle_points_m(step(80.0, 90.0), RIG)

    assert points == pytest.approx(np.full(38, -0.230), abs=1e-9)


def test_the_front_share_balances_the_moments_about_the_rear_wheel():
    """By hand: rider's weight line from hands, saddle and torque about the BB; then moments about the rear contact."""
    sweep = ridden(lambda mm: 90.0, answer=False)
    weight_n = 75.0 * 9.80665
    middle_mm = 55.0
    x_hands = 0.54 - (78.0 - middle_mm) / 1000.0
    x_m = (x_hands * 90.0 + (-0.078 - 0.150) * SADDLE_N + 21.2) / weight_n
    rear_m = math.sqrt(0.410**2 - 0.070**2)
    front_n = (75.0 * (x_m + rear_m) + 8.5 * (0.150 + rear_m)) / 0.985
    by_hand = front_n / (75.0 + 8.5)

    found = on_bicycle(sweep, RIG, BICYCLE, 78.0).front_share

    assert found.value == pytest.approx(by_hand, abs=0.002)
    assert found.low < by_hand < found.high


def test_on_a_climb_without_a_tilt_sensor_the_plans_gradient_counts():
    """Level would be 4 points more on the front wheel at 4.5 %."""
    sweep = ridden(lambda mm: 90.0, answer=False, gradient_pct=4.5)
    by_tilt = {
        tilt_deg: on_bicycle(
            replace(sweep, steps=tuple(replace(one, tilt_deg=tilt_deg) for one in sweep.steps)), RIG, BICYCLE, 60.0
        )
        for tilt_deg in (math.degrees(math.atan(0.045)), math.nan)
    }
    measured, planned = by_tilt.values()

    assert planned.front_share == measured.front_share
    assert "taken as the plan's gradient" in planned.rests_on
    assert "taken as the plan's gradient" not in measured.rests_on


def test_ten_mm_forward_puts_about_three_quarters_of_a_point_on_the_front_wheel():
    # Typical: -0.6 to -0.8 points per 10 mm further back.
    sweep = ridden(lambda mm: 90.0, answer=False)
    back, forward = (on_bicycle(sweep, RIG, BICYCLE, mm).front_share.value for mm in (70.0, 60.0))

    assert 0.4 < 100 * (forward - back) < 1.1


def test_the_hands_hold_their_load_times_its_distance_to_the_saddles():
    sweep = ridden(lambda mm: 90.0, answer=False)
    by_hand = 90.0 * ((0.54 - 0.023) - (-0.228))

    found = on_bicycle(sweep, RIG, BICYCLE, 78.0).hands_off_deficit_nm

    assert found.value == pytest.approx(by_hand, rel=0.01)


def test_the_lever_is_that_of_the_bar_as_it_was_confirmed():
    """30 mm further forward than planned: 90 N x 0.030 m more to hold."""
    sweep = ridden(lambda mm: 90.0, answer=False)
    planned_mm = [540.0 - (one.setback_mm - 55.0) for one in sweep.steps]
    further = tuple(
        replace(one, setting=Setting(bar_x_mm=mm + 30.0)) for one, mm in zip(sweep.steps, planned_mm, strict=True)
    )
    planned, set_further = (
        on_bicycle(each, RIG, BICYCLE, 60.0).hands_off_deficit_nm.value
        for each in (sweep, replace(sweep, steps=further))
    )

    assert set_further - planned == pytest.approx(90.0 * 0.030, rel=0.01)


def test_what_is_assumed_of_the_hands_is_said_and_a_rig_file_may_tell_better():
    sweep = ridden(lambda mm: 90.0, answer=False)
    told = Unseen(hands_tangential_n=-10.0, hands_tangential_u_n=60.0, source="a jig with tangential cells")

    assumed = on_bicycle(sweep, RIG, BICYCLE, 55.0)
    better = on_bicycle(sweep, RIG.model_copy(update={"unseen": told}), BICYCLE, 55.0)

    assert "taken as 0 ± 20 N (standard uncertainty; an assumption" in assumed.rests_on
    assert "taken as -10 ± 60 N (standard uncertainty; a jig with tangential cells)" in better.rests_on
    for wide, narrow in (
        (better.front_share, assumed.front_share),
        (better.hands_off_deficit_nm, assumed.hands_off_deficit_nm),
    ):
        assert wide.high - wide.low > narrow.high - narrow.low


def test_two_steps_show_no_scatter_about_their_line():
    sweep = ridden(lambda mm: 90.0, answer=False)
    found = on_bicycle(replace(sweep, steps=sweep.steps[:2]), RIG, BICYCLE, 60.0).front_share

    assert found.low < found.value < found.high


def test_what_cannot_be_had_says_why():
    sweep = ridden(lambda mm: 90.0, answer=False)
    without_torque = ridden(lambda mm: 90.0, answer=False, torque_nm=lambda mm: math.nan)

    assert on_bicycle(sweep, RIG, None, 60.0).front_share.why_not == "the client's bicycle was not entered"
    assert "torque" in on_bicycle(without_torque, RIG, BICYCLE, 60.0).front_share.why_not


def with_saddle(*x_mm):
    """The rig with only these cells under the saddle, and the same sweep on it."""
    kept = [one for one in RIG.channels if one.role != "saddle"]
    cells = [RIG.channels[1].model_copy(update={"name": f"saddle {i}", "x_mm": mm}) for i, mm in enumerate(x_mm)]
    rig = RIG.model_copy(update={"channels": (*kept, *cells)})

    def bare(step):
        loads = (SADDLE_N / max(len(x_mm), 1),) * len(x_mm)
        strokes = tuple(replace(one, cells_n=(one.cells_n[0], *loads)) for one in step.strokes)
        return replace(step, strokes=strokes, saddle_load_n=SADDLE_N if x_mm else math.nan)

    sweep = ridden(lambda mm: 90.0, answer=False)
    return replace(sweep, steps=tuple(bare(one) for one in sweep.steps)), rig


@pytest.mark.parametrize(
    ("x_mm", "why"),
    [
        ((), "no cell under the saddle"),
        ((-60.0, None), "does not say where"),
        ((-150.0,), "one saddle cell cannot tell"),
    ],
)
def test_without_a_load_point_on_the_saddle_nothing_is_claimed(x_mm, why):
    """A single cell moves with the saddle: wherever on it the rider sits, it reads the same."""
    sweep, rig = with_saddle(*x_mm)
    found = on_bicycle(sweep, rig, BICYCLE, 60.0)

    for one in (found.front_share, found.hands_off_deficit_nm):
        assert (one.value, one.low, one.high) == (None, None, None)
        assert why in one.why_not


def test_a_step_without_any_load_on_the_saddle_claims_nothing():
    sweep = ridden(lambda mm: 90.0, answer=False)
    stood = tuple(replace(one, cells_n=(one.hands_n, 0.0, 0.0)) for one in sweep.steps[3].strokes)
    steps = (*sweep.steps[:3], replace(sweep.steps[3], strokes=stood), *sweep.steps[4:])

    found = on_bicycle(replace(sweep, steps=steps), RIG, BICYCLE, 60.0)
    assert found.front_share.why_not == "the load on the saddle is not known at every step"


def test_a_step_of_which_no_stroke_is_kept_claims_nothing():
    sweep = ridden(lambda mm: 90.0, answer=False)
    steps = (*sweep.steps[:3], replace(sweep.steps[3], strokes=()), *sweep.steps[4:])

    found = on_bicycle(replace(sweep, steps=steps), RIG, BICYCLE, 60.0)
    assert found.front_share.why_not == "the load on the saddle is not known at every step"


ALONG = RIG.model_copy(
    update={
        "channels": (
            *RIG.channels,
            RIG.channels[0].model_copy(update={"name": "pull", "role": "hands tangential"}),
            RIG.channels[0].model_copy(update={"name": "seat", "role": "saddle tangential"}),
        )
    }
)


def climbed(positions_mm, gradient_pct, com_height_m):
    """Steps by the statics of a rider of 75 kg whose centre of mass is so high and goes along with the saddle."""
    steps, t = [], math.atan(gradient_pct / 100.0)
    weight_n, hands_n, feet_n, torque_nm, pull_n = 75.0 * 9.80665 * math.cos(t), 100.0, 240.0, 21.2, -10.0
    for i, mm in enumerate(positions_mm):
        line_m = -0.05 - 0.86 * (mm - 55.0) / 1000.0 - com_height_m * math.tan(t)
        saddle_n, seat_n = weight_n - hands_n - feet_n, weight_n * math.tan(t) - pull_n
        bar_x_m = 0.54 - (mm - 55.0) / 1000.0
        moment_nm = line_m * weight_n - bar_x_m * hands_n + 0.68 * pull_n + 0.70 * seat_n - torque_nm
        rear_n = saddle_n * (-1000.0 * moment_nm / saddle_n - mm - 60.0) / 180.0
        bare = step(mm, hands_n, t_min=0.8 * i, torque_nm=torque_nm, tilt_deg=math.degrees(t))
        cells = (hands_n, saddle_n - rear_n, rear_n, pull_n, seat_n)
        strokes = tuple(replace(one, cells_n=cells) for one in bare.strokes)
        steps.append(replace(bare, saddle_load_n=saddle_n, strokes=strokes))
    return Ridden(1, Plan((80.0, 30.0), gradient_pct=gradient_pct, start_setback_mm=55.0, purpose="check"), "finished",
                  tuple(steps), None, 75.0)  # fmt: skip


def test_the_bodys_height_is_told_from_one_setback_ridden_both_ways():
    """The body goes along with the saddle: 20 mm between the places compared would be 107 mm of height."""
    level = climbed((80.0, 70.0, 60.0, 50.0, 30.0), 0.0, 0.90)

    assert com_height_said(level, climbed((60.0, 57.0, 30.0), 16.0, 0.90), ALONG).startswith("900 mm, 95 % 8")
    assert com_height_said(None, None, ALONG) == "not available: no sweep yet"
    assert "no setback was ridden both" in com_height_said(level, climbed((65.0, 55.0), 16.0, 0.90), ALONG)
    assert "do not measure forces along the jig" in com_height_said(level, climbed((65.0, 55.0), 16.0, 0.90), RIG)


def test_millimetres_of_the_form_are_metres_of_the_bicycle():
    frame = frame_of(BICYCLE)

    assert (frame.wheelbase_m, frame.bb_drop_m, frame.mass_kg) == (0.985, 0.070, 8.5)


def test_a_step_without_torque_leaves_an_answer_with_numbers():
    sweep = ridden(lambda mm: 90.0, answer=False, torque_nm=lambda mm: math.nan if mm == 55.0 else 21.2)
    found = on_bicycle(sweep, RIG, BICYCLE, 78.0).front_share

    assert found.low < found.value < found.high


def test_the_interval_is_as_wide_as_the_calibration_says():
    """Hands 20 N standard: the moment they hold is then known to 1.96 x 20 N x the 0.745 m between hands and saddle."""
    budget = Uncertainty((Term("made up", absolute_n=20.0),))
    channels = tuple(CalibratedChannel(name, "force", (0.0, 1.0), uncertainty=budget) for name in RIG.cells)
    calibration = Calibration("made-up", "2026-01-01T00:00:00+00:00", channels)
    sweep = replace(ridden(lambda mm: 90.0, answer=False), calibration=calibration)
    found = on_bicycle(sweep, RIG, BICYCLE, 78.0).hands_off_deficit_nm

    assert 0.5 * (found.high - found.low) == pytest.approx(1.96 * 20.0 * 0.745, rel=0.03)
