"""The exact hinge: corners, replicates, weights, covariates, and the profile set from its definition."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.stats import f as f_distribution

from daq.sweep.hinge import least_squares

X = np.arange(11.0) * 5.0


def rss_at(c, x, y, extra=None):
    columns = [np.ones_like(x), x, np.maximum(x - c, 0.0)]
    design = np.column_stack(columns if extra is None else [*columns, extra])
    left = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    return float(left @ left)


def test_without_noise_the_truth_comes_back():
    found = least_squares(X, 80.0 + 0.1 * X + 1.5 * np.maximum(X - 21.7, 0.0))

    assert found.breakpoint == pytest.approx(21.7, abs=1e-9)
    assert (found.slope, found.added, found.level) == pytest.approx((0.1, 1.5, 82.17), abs=1e-9)
    assert found.rss == pytest.approx(0.0, abs=1e-18)


@given(st.lists(st.floats(-20.0, 20.0), min_size=11, max_size=11), st.floats(10.0, 40.0))
def test_no_other_breakpoint_fits_better(noise, c):
    y = np.maximum(X - c, 0.0) + np.array(noise)

    found = least_squares(X, y)

    assert all(found.rss <= rss_at(other, X, y) + 1e-7 for other in np.linspace(5.0, 45.0, 161))


def test_replicates_and_any_order_are_taken():
    x, y = np.tile(X, 2), np.tile(np.maximum(X - 22.0, 0.0), 2)
    order = np.random.default_rng(3).permutation(len(x))

    assert least_squares(x[order], y[order]).breakpoint == pytest.approx(22.0)


def test_a_weight_of_two_counts_as_two_readings():
    y = np.maximum(X - 22.0, 0.0) + np.random.default_rng(4).normal(size=11)
    weights = np.where(np.arange(11) % 3 == 0, 2.0, 1.0)
    twice = np.repeat(np.arange(11), weights.astype(int))

    weighted, repeated = least_squares(X, y, weights=weights), least_squares(X[twice], y[twice])

    assert weighted.breakpoint == pytest.approx(repeated.breakpoint)
    assert weighted.rss == pytest.approx(repeated.rss)


def test_a_covariate_takes_its_drift_out():
    minutes = np.array([0.0, 10, 1, 9, 2, 8, 3, 7, 4, 6, 5])

    found = least_squares(X, np.maximum(X - 22.0, 0.0) + 3.0 * minutes, covariates=minutes[:, None])

    assert found.breakpoint == pytest.approx(22.0)


def test_the_interval_ends_where_the_residuals_reach_the_f_quantile():
    y = 1.5 * np.maximum(X - 22.0, 0.0) + np.random.default_rng(5).normal(size=11)
    found = least_squares(X, y)
    limit = found.rss * (1.0 + f_distribution.ppf(0.95, 1, 7) / 7)

    ends = [
        brentq(lambda c: rss_at(c, X, y) - limit, a, b) for a, b in ((6.0, found.breakpoint), (found.breakpoint, 44.0))
    ]

    assert found.freedom == 7
    assert found.interval == pytest.approx(ends, abs=1e-6)


def test_where_nothing_bends_the_interval_is_open():
    found = least_squares(X, 80.0 + 0.3 * X + np.random.default_rng(6).normal(size=11))

    assert found.interval == (-math.inf, math.inf)


def test_fewer_than_four_positions_are_refused():
    with pytest.raises(ValueError, match="at least 4 distinct x, got 3"):
        least_squares(np.array([0.0, 1, 2, 2, 1]), np.zeros(5))


def test_an_interval_that_reaches_over_several_positions_is_one_piece():
    y = 0.3 * np.maximum(X - 22.0, 0.0) + np.random.default_rng(7).normal(size=11)
    found = least_squares(X, y)

    ((low, high),) = found.pieces
    assert high - low > 10.0, "over more than one gap of 5 mm"
    assert (low, high) == found.interval
