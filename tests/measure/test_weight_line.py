"""The weight line of a step, from nose and rear cells, against MuJoCo's centre of mass."""

import math
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.balance import UnseenHands
from daq.measure.weight_line import Levers, weight_line_mm
from daq.values import NAN, Setting, Status, StepMean, Stroke
from tests.measure import engine

NOSE_MM, REAR_MM = -60.0, -240.0
"""Of the saddle's cells at setback 0."""
G_M_S2 = 9.80665


def step_of(contacts, torque_nm, setback_mm):
    """What a jig with a nose and a rear cell would have measured: the saddle's force split by the lever."""
    hands, saddle = contacts["hands"], contacts["saddle"]
    nose_m, rear_m = (NOSE_MM - setback_mm) / 1000.0, (REAR_MM - setback_mm) / 1000.0
    nose_n = saddle.normal_n * (saddle.x_m - rear_m) / (nose_m - rear_m)
    cells_n = (hands.normal_n, nose_n, saddle.normal_n - nose_n)
    stroke = Stroke(0.0, 0.7, hands.normal_n, saddle.normal_n, NAN, 0.0, torque_nm, NAN, cells_n, 60, Status(0))
    return StepMean(setback_mm, hands.normal_n, NAN, 0.0, torque_nm, saddle.normal_n, 0.0, (stroke,))


def found(monkeypatch, *, moved_mm=0.0, hips_mm=None):
    """(weight line by cells, that of the engine) of a rider who was moved back by so much, mm, the bar going along.

    hips_mm: how far the hips went; by default with the saddle.
    """
    went_m = (moved_mm if hips_mm is None else hips_mm) / 1000.0
    for name in ("trunk", "head", "arms"):
        mass, x, y = engine.SEGMENTS[name]
        monkeypatch.setitem(engine.SEGMENTS, name, (mass, x - went_m, y))
    for name in ("hands", "saddle"):
        x, y = engine.PADS[name]
        monkeypatch.setitem(engine.PADS, name, (x - went_m, y))
    contacts, x_c, _ = engine.settled(0.0)
    pedal = contacts["pedal"]
    torque_nm = pedal.x_m * pedal.normal_n - pedal.y_m * pedal.tangential_n
    hands, saddle = contacts["hands"], contacts["saddle"]
    levers = Levers(hands.x_m + went_m, hands.y_m, saddle.y_m, ((1, NOSE_MM), (2, REAR_MM)))
    step = step_of(contacts, torque_nm, 55.0 + moved_mm)
    by_cells, _ = weight_line_mm(
        replace(step, setting=Setting(bar_x_mm=1000.0 * hands.x_m)),
        levers, mass_kg=engine.MASS_KG, g_m_s2=G_M_S2, gradient_pct=0.0, bar_goes_from_mm=55.0,
        unseen=UnseenHands(),
    )  # fmt: skip
    # forces along the jig, which the cells do not see: science of balance.py, (y_h - y_s) T_h - y_s T_f
    weight_n = engine.MASS_KG * G_M_S2
    unseen_m = ((hands.y_m - saddle.y_m) * hands.tangential_n - saddle.y_m * pedal.tangential_n) / weight_n
    return by_cells - 1000.0 * unseen_m, 1000.0 * x_c


@pytest.mark.parametrize("moved_mm", [-25.0, 0.0, 25.0])
def test_it_is_the_engines_centre_of_mass_wherever_the_saddle_stands(monkeypatch, moved_mm):
    by_cells, by_engine = found(monkeypatch, moved_mm=moved_mm)

    # the engine is at rest to a few micronewtons; its ties give way by a few tenths of a millimetre
    assert by_cells == pytest.approx(by_engine, abs=0.5)


def test_hips_that_stay_while_the_saddle_moves_under_them_do_not_move_it(monkeypatch):
    with monkeypatch.context() as patch:
        before, _ = found(patch)
    with monkeypatch.context() as patch:
        slid, _ = found(patch, moved_mm=25.0, hips_mm=0.0)
    with monkeypatch.context() as patch:
        kept, engine_mm = found(patch, moved_mm=25.0)

    assert slid == pytest.approx(before, abs=1e-6)
    assert before - kept == pytest.approx(25.0 * 50.4 / engine.MASS_KG, abs=0.5)  # trunk, head and arms of the body
    assert kept == pytest.approx(engine_mm, abs=0.5)


STEP = StepMean(
    55.0, 90.0, NAN, 0.0, 21.0, 400.0, 0.0,
    (Stroke(0.0, 0.7, 90.0, 400.0, NAN, 0.0, 21.0, NAN, (45.0, 45.0, 250.0, 150.0), 60, Status(0)),),
)  # fmt: skip
ASSUMED = UnseenHands()
LEVERS = Levers(0.54, 0.68, 0.70, ((2, NOSE_MM), (3, REAR_MM)))


def line_of(*args, **changed):
    return line_and_u(*args, **changed)[0]


def line_and_u(step=STEP, levers=LEVERS, *, mass_kg=75.0, gradient_pct=0.0, bar_goes_from_mm=55.0, unseen=ASSUMED):
    return weight_line_mm(
        step, levers, mass_kg=mass_kg, g_m_s2=G_M_S2, gradient_pct=gradient_pct, bar_goes_from_mm=bar_goes_from_mm,
        unseen=unseen,
    )  # fmt: skip


def test_by_hand():
    """[x_h N_h + sum(F_i x_i) + Q]/W'."""
    moment = 0.54 * 90.0 - (0.060 + 0.055) * 250.0 - (0.240 + 0.055) * 150.0 + 21.0

    assert line_of() == pytest.approx(1000.0 * moment / (75.0 * G_M_S2))


HIGH_BAR = replace(LEVERS, bar_y_m=0.80)


@pytest.mark.parametrize("hands_t", [-60.0, 0.0, 35.0])
def test_a_pull_of_the_hands_along_the_jig_is_taken_out_as_statics_by_hand_says(hands_t):
    """The saddle holds what the hands pull, the feet nothing: [x_h N_h + x_s N_s - y_h T_h - y_s T_s + Q]/W', with
    T_s = -T_h on the level. The bar is 10 cm above the saddle."""
    moment = 0.54 * 90.0 - (0.060 + 0.055) * 250.0 - (0.240 + 0.055) * 150.0 + 21.0
    moment -= 0.80 * hands_t + 0.70 * -hands_t

    found = line_of(levers=HIGH_BAR, unseen=UnseenHands(hands_t, 12.0, "a test"))

    assert found == pytest.approx(1000.0 * moment / (75.0 * G_M_S2))
    assert found - line_of(levers=HIGH_BAR) == pytest.approx(-0.1 * 1000.0 * hands_t / (75.0 * G_M_S2))


def test_the_lever_is_that_of_the_bar_as_it_was_set():
    raised, pull = replace(STEP, setting=Setting(bar_y_mm=800.0)), UnseenHands(-60.0, 12.0, "a test")

    assert line_and_u(raised, unseen=pull) == line_and_u(levers=HIGH_BAR, unseen=pull)
    assert line_and_u(unseen=pull) != line_and_u(raised, unseen=pull)


def test_on_a_climb_without_a_tilt_sensor_the_planned_gradient_counts():
    """atan(0.045) = 2.577 degrees. Level would be 31 mm off."""
    climb, unmeasured = replace(STEP, tilt_deg=2.577), replace(STEP, tilt_deg=NAN)

    assert line_of(unmeasured, gradient_pct=4.5) == pytest.approx(line_of(climb), abs=0.01)
    assert line_of(climb, gradient_pct=0.0) == line_of(climb, gradient_pct=4.5)
    assert abs(line_of(unmeasured) - line_of(climb)) > 30.0


def test_its_uncertainty_is_that_of_loads_places_torque_and_the_forces_not_seen():
    """Root of the sum of squares: 2 N and 5 mm at both loads, 2 % of the torque, 20 N at the hands, 12 at the feet."""
    saddle_x_m = (-0.115 * 250.0 - 0.295 * 150.0) / 400.0
    parts = [2.0 * 0.54, 2.0 * saddle_x_m, 0.005 * 90.0, 0.005 * 400.0, 0.02 * 21.0, 0.1 * 20.0, 0.70 * 12.0]

    _, u_mm = line_and_u(levers=HIGH_BAR)

    assert u_mm == pytest.approx(1000.0 * math.hypot(*parts) / (75.0 * G_M_S2))
    assert line_and_u(levers=HIGH_BAR, unseen=UnseenHands(0.0, 60.0, "a test"))[1] > 2.0 * u_mm


def test_the_bar_is_where_it_was_set_else_where_the_plan_has_it():
    moved = line_of(bar_goes_from_mm=35.0) - line_of()

    assert moved == pytest.approx(-20.0 * 90.0 / (75.0 * G_M_S2))
    assert line_of(bar_goes_from_mm=None) == line_of()
    assert line_of(replace(STEP, setting=Setting(bar_x_mm=520.0)), bar_goes_from_mm=None) == pytest.approx(
        line_of(bar_goes_from_mm=35.0)
    )


@pytest.mark.parametrize(
    "unknown",
    [
        line_and_u(mass_kg=None),
        line_and_u(replace(STEP, crank_torque_nm=NAN)),
        line_and_u(replace(STEP, strokes=())),
        line_and_u(levers=replace(LEVERS, saddle_cells=((2, NOSE_MM),))),
        line_and_u(levers=replace(LEVERS, saddle_cells=((2, NOSE_MM), (3, NOSE_MM)))),
    ],
)
def test_without_mass_torque_strokes_or_two_cells_there_is_none(unknown):
    assert np.isnan(unknown).all()


def test_on_a_tilt_the_estimated_bias_is_taken_off():
    """y_s tan t: 35 mm at 5 % and a saddle of 0.70 m."""
    tilted = line_of(replace(STEP, tilt_deg=math.degrees(math.atan(0.05))))

    assert line_of() / math.cos(math.atan(0.05)) - tilted == pytest.approx(35.0, abs=0.1)
    assert np.isfinite(tilted)
