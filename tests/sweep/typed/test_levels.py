import math

import numpy as np
import pytest

from daq.sweep.typed.levels import (
    RIPPLE_HZ,
    SWAY_SHARE,
    SWAY_TAUS_S,
    UNTOLD,
    USUAL_N,
    alike,
    levels_of,
    prior_of,
    together,
)
from daq.sweep.typed.progress import typed_mean
from daq.values import NAN, Reading


def steps_of(rows, half_n, apart_s=60.0, damping_s=NAN):
    """Steps whose readings lie so far apart that they share no sway."""
    return [
        typed_mean(
            80.0 - 5.0 * i,
            tuple(Reading(1000.0 * i + apart_s * j, float(n), half_n, NAN, damping_s) for j, n in enumerate(row)),
            NAN,
        )
        for i, row in enumerate(rows)
    ]


def test_fine_readings_give_the_mean_and_the_usual_standard_error():
    """Pooled standard deviation over sqrt k, as any handbook of statistics has it; a prior of riders beside it."""
    rng = np.random.default_rng(1)
    rows = 90.0 + 4.0 * rng.standard_normal((11, 10))

    found = levels_of(steps_of(rows, 0.005))
    pooled = np.sqrt(rows.var(axis=1, ddof=1).mean() / 10.0)

    assert found.load_n == pytest.approx(rows.mean(axis=1), abs=0.02)
    assert found.se_n == pytest.approx(np.full(11, pooled), rel=0.05)


def test_readings_all_alike_leave_the_step_of_the_display_open():
    """A uniform error over a step of 5 N has a standard deviation of 5 / sqrt 12 (Sheppard); ten readings that agree
    say that the scatter is small, not that the level is where the display stands."""
    found = levels_of(steps_of([[90.0] * 10] * 11, 2.5))

    assert np.all(found.se_n > 0.7 * 5.0 / np.sqrt(12.0))


@pytest.mark.parametrize("step_n", [0.5, 2.0, 5.0])
def test_the_standard_error_holds_rounding_and_sway(step_n):
    """Of many made-up steps the level lies within 1.96 standard errors in about 95 of 100."""
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(60):
        level = rng.uniform(60.0, 120.0, 11)
        rows = step_n * np.round((level[:, None] + 3.0 * rng.standard_normal((11, 5))) / step_n)
        found = levels_of(steps_of(rows, 0.5 * step_n))
        inside += (np.abs(found.load_n - level) < 1.96 * found.se_n).tolist()

    # 660 steps: two standard errors of a share of 0.95 are 0.017
    assert 0.93 <= np.mean(inside) <= 0.97


def test_readings_close_in_time_are_worth_less():
    assert together([0.0, 2.0, 4.0]) > together([0.0, 5.0, 10.0]) > together([0.0, 60.0, 120.0])
    assert together([0.0, 60.0, 120.0]) == pytest.approx(1.0, abs=0.01)
    assert together([5.0]) == 1.0


def test_two_readings_a_time_constant_apart_share_what_an_exponential_leaves():
    """By hand, of two with correlation r: the variance of their mean is (1 + r) / (1 - r) of what scatter says."""
    left = [math.exp(-7.0 / tau) for tau in SWAY_TAUS_S]
    r = SWAY_SHARE * sum(left) / len(left)

    assert together([10.0, 17.0]) == pytest.approx((1.0 + r) / (1.0 - r))


def test_a_damped_display_makes_readings_alike_as_a_filtered_series_is():
    """Sway of correlation time 4 s behind a low-pass of 2 s, against a long made-up series; scipy filters it."""
    from scipy.signal import lfilter

    step_s, tau_s, damping_s = 0.05, 4.0, 2.0
    rng = np.random.default_rng(3)
    sway, low = np.exp(-step_s / tau_s), np.exp(-step_s / damping_s)
    series = lfilter([1.0 - low], [1.0, -low], lfilter([1.0], [1.0, -sway], rng.standard_normal(2_000_000)))
    for apart_s in (1.0, 4.0, 8.0):
        lag = round(apart_s / step_s)
        seen = np.corrcoef(series[:-lag], series[lag:])[0, 1]
        assert float(alike(np.array(apart_s), tau_s, damping_s)) == pytest.approx(seen, abs=0.03)


def test_without_damping_and_as_slow_as_the_sway_the_likeness_has_its_limits():
    assert float(alike(np.array(4.0), 4.0, 0.0)) == pytest.approx(np.exp(-1.0))
    assert float(alike(np.array(4.0), 4.0, 4.0)) == pytest.approx(2.0 * np.exp(-1.0), abs=1e-6)


def test_the_damping_tells_how_much_of_a_reading_is_the_pedals():
    """Undamped, 30 N in amplitude are 30 / sqrt 2 = 21 N; a low-pass of 1 s leaves 1 / (2 pi 3) of it."""
    needle, slow = prior_of(0.0), prior_of(1.0)

    assert needle.usual_n == pytest.approx(np.hypot(USUAL_N, 30.0 / np.sqrt(2.0)), rel=0.01)
    assert slow.usual_n == pytest.approx(np.hypot(USUAL_N, 21.0 / (2.0 * np.pi * RIPPLE_HZ)), rel=0.03)
    assert needle.sway_share < 0.1 < 0.8 < slow.sway_share < 1.0
    assert prior_of(NAN) == UNTOLD


def test_readings_of_a_swinging_needle_are_worth_more_each_and_less_alone():
    """New ripple at each reading: many of them average it away, and three that agree are luck."""
    times = [0.0, 5.0, 10.0, 15.0, 20.0]
    alike_by_luck = [[90.0, 90.5, 91.0]] * 5

    assert together(times, prior_of(0.0)) < together(times) < together(times, prior_of(2.0))
    swinging, untold = (levels_of(steps_of(alike_by_luck, 0.5, damping_s=each)) for each in (0.0, NAN))
    assert np.all(swinging.se_n > untold.se_n)
