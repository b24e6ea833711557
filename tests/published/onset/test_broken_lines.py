"""The exact hinge against R's segmented and the Python package piecewise-regression, on published data."""

import warnings

import numpy as np
import pytest

from daq.sweep.hinge import least_squares
from tests.published.onset import published, table

SEGMENTED = {row["data"]: (float(row["breakpoint"]), float(row["rss"])) for row in table("segmented.csv")}
NAMES = sorted(SEGMENTED)


@pytest.mark.parametrize("name", NAMES)
def test_breakpoint_and_residuals_are_those_of_segmented(name):
    x, y, weights = published(name)
    breakpoint_, rss = SEGMENTED[name]

    found = least_squares(x, y, weights=weights)

    assert found.breakpoint == pytest.approx(breakpoint_, rel=1e-5)
    assert found.rss == pytest.approx(rss, rel=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_the_residual_sum_of_squares_is_never_above_that_of_segmented(name):
    x, y, weights = published(name)

    found = least_squares(x, y, weights=weights)

    assert found.rss <= SEGMENTED[name][1] * (1.0 + 1e-11)  # segmented's has 12 digits


@pytest.mark.parametrize("name", NAMES)
def test_no_breakpoint_of_a_fine_grid_fits_better(name):
    x, y, weights = published(name)
    root = np.ones_like(x) if weights is None else np.sqrt(weights)

    found = least_squares(x, y, weights=weights)

    for c in np.concatenate([np.linspace(x.min(), x.max(), 4001), np.unique(x)]):
        design = root[:, None] * np.column_stack([np.ones_like(x), x - x.mean(), np.maximum(x - c, 0.0)])
        left = root * y - design @ np.linalg.lstsq(design, root * y, rcond=None)[0]
        assert found.rss <= left @ left * (1.0 + 1e-9)


@pytest.mark.parametrize("name", ["stagnant", "RKV", "RKW", "RWC"])
def test_piecewise_regression_finds_no_better_line_and_agrees_where_it_converges(name):
    import piecewise_regression  # loads matplotlib and statsmodels

    x, y, _ = published(name)
    np.random.seed(1)  # noqa: NPY002

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of its restarts, some fail
        theirs = piecewise_regression.Fit(x, y, n_breakpoints=1, n_boot=20).get_results()

    found = least_squares(x, y)
    assert theirs["converged"]
    assert found.rss <= theirs["rss"] * (1.0 + 1e-9)
    if name != "RWC":  # its minimum is a corner at a data point, which a method by derivatives only comes near to
        assert found.breakpoint == pytest.approx(theirs["estimates"]["breakpoint1"]["estimate"], rel=1e-5)
