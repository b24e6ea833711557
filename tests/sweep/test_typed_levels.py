import math
from dataclasses import replace

import numpy as np
import pytest

from daq.sweep.sway import SWAY_N
from daq.sweep.typed.moments import moments_s
from daq.sweep.typed.progress import typed_mean
from daq.sweep.typed.scatter import as_read, usual
from daq.sweep.typed_levels import (
    RIPPLE_HZ,
    SWAY_SHARE,
    SWAY_TAUS_S,
    UNTOLD,
    levels_of,
    prior_of,
    scatter_n,
    shown,
    together,
)
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


@pytest.mark.parametrize("damping_s", [0.0, 0.5, 2.0, 4.0, 6.0])
@pytest.mark.parametrize("apart_s", [0.0, 1.0, 4.0, 12.0])
def test_sway_behind_a_low_pass_has_the_covariance_its_spectrum_gives(apart_s, damping_s):
    """Wiener-Khinchin: the integral of sway's spectrum times what a low-pass of first order lets through, times
    cos 2 pi f t; scipy's quadrature for a Fourier integral."""
    from scipy.integrate import quad

    def spectrum(f, tau_s=4.0):
        return 4.0 * tau_s / (1.0 + (2.0 * np.pi * f * tau_s) ** 2) / (1.0 + (2.0 * np.pi * f * damping_s) ** 2)

    if apart_s:
        area, _ = quad(spectrum, 0.0, np.inf, weight="cos", wvar=2.0 * np.pi * apart_s)
    else:
        area, _ = quad(spectrum, 0.0, np.inf)

    assert float(shown(np.array(apart_s), 4.0, damping_s)) == pytest.approx(area, abs=1e-6)


def filtered(damping_s, tau_s, rows):
    """Sway behind a low-pass, made up in steps of 50 ms, as many rows of 25 s: scipy filters it."""
    from scipy.signal import lfilter

    step_s, lead = 0.05, 800
    rng = np.random.default_rng(3)
    keeps, low = np.exp(-step_s / tau_s), np.exp(-step_s / damping_s)
    pushed = SWAY_N * np.sqrt(1.0 - keeps**2) * rng.standard_normal((rows, lead + 500))
    return lfilter([1.0 - low], [1.0, -low], lfilter([1.0], [1.0, -keeps], pushed))[:, lead:], step_s


@pytest.mark.parametrize("damping_s", [0.1, 2.0, 5.0])
def test_readings_of_a_swaying_rider_scatter_as_expected_and_their_level_is_within_its_error(damping_s):
    """220 steps of a rider whose sway the display damps, read five times: how far the readings lie from their level and
    from their mean, and how often the level lies within 1.96 standard errors."""
    series, step_s = filtered(damping_s, 4.0, 220)
    rows, times = [], []
    for i, row in enumerate(series):
        at_s = np.array(moments_s(f"{i}", 5, dwell_s=25.0, settle_s=0.0))
        times.append(at_s)
        rows.append(row[np.minimum(np.round(at_s / step_s).astype(int), len(row) - 1)])
    prior = prior_of(damping_s)
    own_n = prior.own_n * np.random.default_rng(4).standard_normal((220, 5))
    read = np.array(rows) + own_n

    assert read.std() == pytest.approx(prior.usual_n, rel=0.1)
    expected_n = np.mean([scatter_n(each, prior) for each in times])
    assert np.sqrt(read.var(axis=1, ddof=1).mean()) == pytest.approx(expected_n, rel=0.1)
    assert read.mean(axis=1).std() == pytest.approx(
        replace(usual(5, 0.05, damping_s), between_n=0.0).step_sd_n(25.0), rel=0.1
    )
    inside = []
    for first in range(0, 220, 11):
        steps = [
            typed_mean(80.0, tuple(Reading(t, n, 0.05, NAN, damping_s) for t, n in zip(at, row, strict=True)), NAN)
            for at, row in zip(times[first : first + 11], read[first : first + 11], strict=True)
        ]
        found = levels_of(steps)
        inside += (np.abs(found.load_n) < 1.96 * found.se_n).tolist()
    assert as_read(steps, found.sd_n).reading_n == pytest.approx(prior.usual_n, rel=0.25)
    # 220 steps: two standard errors of a share of 0.95 are 0.03
    assert 0.92 <= np.mean(inside) <= 0.98


def test_the_damping_tells_how_much_of_a_reading_is_the_pedals():
    """Undamped, 30 N in amplitude are 30 / sqrt 2 = 21 N; a low-pass of 1 s leaves 1 / (2 pi 3) of it."""
    needle, slow = prior_of(0.0), prior_of(1.0)

    assert needle.own_n == pytest.approx(30.0 / np.sqrt(2.0), rel=0.01)
    assert slow.own_n == pytest.approx(np.hypot(21.0 / (2.0 * np.pi * RIPPLE_HZ), 1.0), rel=0.01)
    assert needle.usual_n == pytest.approx(np.hypot(SWAY_N, needle.own_n))
    # of sway of 2, 4 and 8 s, a low-pass of 1 s leaves two, four and eight parts in one more
    assert slow.usual_n**2 - slow.own_n**2 == pytest.approx(SWAY_N**2 * np.mean([2 / 3, 4 / 5, 8 / 9]))
    assert UNTOLD.usual_n**2 * SWAY_SHARE == pytest.approx(SWAY_N**2)
    assert prior_of(NAN) == UNTOLD


def test_readings_of_a_swinging_needle_are_worth_more_each_and_less_alone():
    """New ripple at each reading: many of them average it away, and three that agree are luck."""
    times = [0.0, 5.0, 10.0, 15.0, 20.0]
    alike_by_luck = [[90.0, 90.5, 91.0]] * 5

    assert together(times, prior_of(0.0)) < together(times) < together(times, prior_of(2.0))
    swinging, untold = (levels_of(steps_of(alike_by_luck, 0.5, damping_s=each)) for each in (0.0, NAN))
    assert np.all(swinging.se_n > untold.se_n)
