import numpy as np
import pytest

from daq.sweep.effects import GRADIENT, OnsetEffect, estimated, moved
from daq.sweep.panel import in_order, panel
from tests.sweep.panels import riders


def test_effects_of_normal_tests_are_those_of_generalised_least_squares():
    """By hand: y = rider's own + X b + error of known covariance, riders' own flat, b with its prior."""
    rng = np.random.default_rng(31)
    tests, _ = riders(rng, count=15, days=2, sweeps=2, day_sd=0.0, sweep_sd=0.0, error_sd=2.0)
    tests = in_order(tests)
    columns = np.column_stack([np.tile([0.0, 5.0], len(tests) // 2), rng.integers(0, 2, len(tests))]).astype(float)
    truth = np.array([-3.0, 4.0])
    tests = moved(tests, -(columns @ truth))  # as if the sweeps themselves had shown it
    at_mm = np.array([one.likelihood.rear_mm - 24.0 - one.effects_mm for one in tests])
    tests = [
        type(one)(one.rider, one.day, type(one.likelihood)(one.likelihood.rear_mm - one.effects_mm, 1.0, *rest))
        for one in tests
        for rest in [(one.likelihood.log_l, one.likelihood.log_light, one.likelihood.log_loaded)]
    ]
    found = panel(tests)
    effects = [GRADIENT, OnsetEffect("saddle B")]
    told = estimated(tests, columns, effects, found)

    day, sweep = found.day_sd_mm**2, found.sweep_sd_mm**2 + 2.0**2
    names = [(one.rider, one.day) for one in tests]
    v = sweep * np.eye(len(tests)) + day * np.array([[a == b for b in names] for a in names], dtype=float)
    own = np.array([[a[0] == rider for rider in sorted({n[0] for n in names})] for a in names], dtype=float)
    design = np.hstack([columns, own])
    prior = np.diag([GRADIENT.spread_mm**-2, 5.0**-2, *np.zeros(own.shape[1])])
    mean = np.array([GRADIENT.mean_mm, 0.0, *np.zeros(own.shape[1])])
    gram = design.T @ np.linalg.solve(v, design) + prior
    by_hand = np.linalg.solve(gram, design.T @ np.linalg.solve(v, at_mm) + prior @ mean)[:2]

    assert told.mm == pytest.approx(by_hand, abs=0.1)
    assert np.sqrt(np.diag(told.covariance)) == pytest.approx(np.sqrt(np.diag(np.linalg.inv(gram)))[:2], rel=0.1)
    assert np.abs(told.mm - truth).max() < 1.5


def test_columns_that_do_not_fit_the_tests_are_refused():
    tests, _ = riders(np.random.default_rng(1), count=2, days=1, sweeps=1, day_sd=0.0, sweep_sd=0.0)
    with pytest.raises(ValueError, match="columns"):
        estimated(tests, np.zeros((3, 1)), [GRADIENT], panel(tests))
