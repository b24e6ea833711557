import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from daq.measure.ripple import ripple
from daq.measure.ripple_trend import level_against_gradient, over_setback, step_change, trend
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from tests.measure.shapes import shapes

SETBACK_MM = np.array([80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 35.0, 45.0, 55.0, 65.0, 75.0])
T_MIN = np.arange(11) * 0.6


def ridden(model, gradient_pct=0.0, seed=1):
    """The hands' ripple at each setback, out and back, 25 s each."""
    jig, steps = SimulatedJig(model, rng=np.random.default_rng(seed)), []
    jig.set_gradient(gradient_pct)
    for setback_mm in SETBACK_MM:
        jig.set_setback(setback_mm)
        jig.advance(8.0)
        block = jig.advance(25.0)
        shape = shapes(block.t_s, block.cells_n[:, :2].sum(axis=1), block.t_s[block.crank_mark], angle_known=True)
        steps.append(ripple(shape))
    return steps


def test_slope_and_interval_are_those_of_a_regression_with_time_taken_out():
    """Frisch-Waugh: regress both on time, then scipy's linregress; its error has one degree of freedom too many."""
    rng = np.random.default_rng(4)
    values = 30.0 + 0.1 * SETBACK_MM + 0.5 * T_MIN + rng.standard_normal(11)
    left = [v - np.polyval(np.polyfit(T_MIN, v, 1), T_MIN) for v in (SETBACK_MM, values)]
    line = stats.linregress(*left)
    u = line.stderr * np.sqrt(9.0 / 8.0)

    found = trend("ripple", "N", SETBACK_MM, values, T_MIN)

    assert found.value == pytest.approx(10.0 * line.slope)
    assert found.u == pytest.approx(10.0 * u)
    assert found.interval_95 == pytest.approx(10.0 * (line.slope + np.array([-1, 1]) * stats.t.ppf(0.975, 8) * u))


def test_no_trend_is_called_visible_in_one_ride_of_twenty():
    rng = np.random.default_rng(5)

    seen = [trend("x", "N", SETBACK_MM, rng.standard_normal(11), T_MIN).visible for _ in range(1000)]

    # 5 % of 1000 within four standard errors
    assert np.mean(seen) == pytest.approx(0.05, abs=0.028)


def test_one_pass_in_time_order_cannot_tell_setback_from_time():
    setback_mm = np.linspace(80.0, 30.0, 11)

    found = trend("ripple", "N", setback_mm, setback_mm, T_MIN)

    assert not found.visible
    assert "all ridden in one order" in found.text


def test_too_few_positions_show_nothing():
    found = trend("ripple", "N", SETBACK_MM[:4], SETBACK_MM[:4], T_MIN[:4])

    assert not found.visible
    assert "too few positions with a value (4)" in found.text


def test_a_change_is_the_paired_t_test():
    rng = np.random.default_rng(6)
    level, tilted = rng.standard_normal(11), 0.8 + rng.standard_normal(11)
    reference = stats.ttest_rel(tilted, level).confidence_interval(0.95)

    found = step_change("ripple", "N", level, tilted)

    assert found.interval_95 == pytest.approx((reference.low, reference.high))


@pytest.mark.parametrize("scale", [0.004, 0.4, 40.0, 4000.0])
def test_numbers_are_written_out_however_large(scale):
    level, tilted = scale * np.arange(11.0), scale * (np.arange(11.0) + np.random.default_rng(6).standard_normal(11))

    said = step_change("ripple", "N", level, tilted).text

    assert not re.search(r"\de[+-]\d|-0(\.0+)?\b(?!\.)", said)


@pytest.mark.parametrize("phase", [-0.84, 1.5])
def test_a_torque_that_comes_earlier_or_later_going_back_is_seen_in_the_hands(phase):
    model = replace(DEMO, torque_phase_deg_per_10mm=phase)

    changes, _ = over_setback("hands", ridden(model), SETBACK_MM, T_MIN)

    low, high = changes["peak_angle"].interval_95
    assert changes["peak_angle"].visible
    assert low - 0.1 < phase < high + 0.1


def test_dead_centres_that_deepen_going_back_are_seen_with_what_they_cannot_tell():
    model = replace(DEMO, top_weakening_per_10mm=0.05)

    changes, limits = over_setback("hands", ridden(model), SETBACK_MM, T_MIN)

    # 5 % of about 31 N a centimetre
    assert changes["dead_centres"].visible
    assert changes["dead_centres"].value == pytest.approx(1.55, abs=0.4)
    assert "further back" in changes["dead_centres"].text
    assert any("not visible apart" in limit for limit in limits)


def test_a_rider_whose_stroke_stays_the_same_shows_no_deepening():
    model = replace(DEMO, torque_phase_deg_per_10mm=0.0)

    changes, _ = over_setback("hands", ridden(model, seed=2), SETBACK_MM, T_MIN)

    assert not changes["dead_centres"].visible
    assert "no change visible" in changes["dead_centres"].text


def test_level_against_gradient_compares_the_same_positions():
    changes = level_against_gradient("hands", ridden(DEMO), ridden(DEMO, gradient_pct=5.0, seed=3))

    assert set(changes) == {"dead_centres", "roughness", "evenness", "peak_angle"}
    # the simulated rider pedals alike on both
    assert abs(changes["dead_centres"].value) < 1.0
