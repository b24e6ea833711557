import math

import numpy as np
import pytest

from daq.sweep.typed.levels import SWAY_SHARE, SWAY_TAUS_S, levels_of, together
from daq.sweep.typed.progress import typed_mean
from daq.values import NAN, Reading


def steps_of(rows, half_n, apart_s=60.0):
    """Steps whose readings lie so far apart that they share no sway."""
    return [
        typed_mean(
            80.0 - 5.0 * i,
            tuple(Reading(1000.0 * i + apart_s * j, float(n), half_n) for j, n in enumerate(row)),
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
