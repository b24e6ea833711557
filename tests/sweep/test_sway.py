"""The model of wander that averages over kinds of sway, against statsmodels and against riders it was not made with."""

import numpy as np
import pytest
from scipy.linalg import cholesky, toeplitz

from daq.sweep import noise, sway
from daq.sweep.noise import Series
from daq.sweep.pooled import pooled
from tests.benchmarks.sways import Sway, level_sweep


def even_series(rng):
    """Three steps of 12, 9 and 15 strokes, 0.7 s each."""
    there = np.arange(15) < np.array([12, 9, 15])[:, None]
    t_s = np.where(there, 0.7 * np.arange(15), 0.0)
    return Series(t_s, np.where(there, 21.0 + rng.normal(size=t_s.shape), 0.0), there), 80.0 + rng.normal(
        size=t_s.shape
    )


def test_levels_and_trends_are_those_of_generalised_least_squares(monkeypatch):
    from statsmodels.regression.linear_model import GLS

    monkeypatch.setattr(sway, "TAUS_S", np.array([3.0]))
    monkeypatch.setattr(sway, "SCATTER_SHARES", (0.3,))
    monkeypatch.setattr(sway, "WITHIN_WEIGHT", np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]))
    whole = sway.factors.__wrapped__  # of these sizes, and not kept for others

    def forgets_at_once(*arguments):
        return tuple(each[:1] for each in whole(*arguments))

    monkeypatch.setattr(sway, "factors", forgets_at_once)
    series, load_n = even_series(np.random.default_rng(1))

    (found,) = sway.levels(series, load_n)

    there, step_of = series.there, np.nonzero(series.there)[0]
    t_s, torque = series.t_s[there], series.torque_nm[there]
    lag = np.abs(t_s[:, None] - t_s)
    covariance = (step_of[:, None] == step_of) * 0.7 * np.exp(-lag / 3.0) + (0.3 + 1e-9) * np.eye(len(t_s))
    design = np.column_stack([step_of == i for i in range(3)] + [torque - torque.mean()]).astype(float)
    theirs = GLS(load_n[there], design, sigma=covariance).fit()
    assert found.torque_effect == pytest.approx(theirs.params[3], rel=1e-7)
    assert found.sd_n == pytest.approx(np.sqrt(theirs.scale), rel=1e-7)
    means = [torque[step_of == i].mean() for i in range(3)]
    assert found.load_n == pytest.approx(
        [GLS(load_n[i, there[i]], np.ones(there[i].sum()), sigma=covariance[np.ix_(step_of == i, step_of == i)]).fit()
         .params[0] for i in range(3)], rel=1e-9)  # fmt: skip
    assert len(means) == len(found.trend_n)
    own = step_of == 0
    rest = load_n[0, there[0]] - found.torque_effect * torque[own]
    at = (t_s[own] - t_s[own].mean()) / np.ptp(t_s[own])
    line = GLS(rest, np.column_stack([np.ones(own.sum()), at]), sigma=covariance[np.ix_(own, own)]).fit()
    assert found.trend_n[0] == pytest.approx(line.params[1], rel=1e-6)


@pytest.mark.parametrize("kind", ["one time scale", "critically damped"])
def test_stated_errors_are_those_the_steps_have(kind):
    """40 sweeps of 11 steps of 45 s: the rms of 440 errors is known to 3.4 %; the goal and three such."""
    stated, true = [], []
    for number in range(40):
        steps, true_n = level_sweep(Sway(kind), 45.0, number)
        hands = pooled(steps).hands
        stated.append(hands.se_n**2)
        true.append((hands.load_n - true_n) ** 2)

    ratio = np.sqrt(np.mean(stated) / np.mean(true))

    assert 0.95 * (1.0 - 3 * 0.034) < ratio < 1.10 * (1.0 + 3 * 0.034)


def test_a_smooth_sway_is_not_taken_for_a_slow_one_as_it_was_before():
    steps, _ = level_sweep(Sway("critically damped"), 60.0, 7)

    now, before = (pooled(steps, levels).hands.se_n.mean() for levels in (sway.levels, noise.levels))

    assert now < 0.85 * before


def test_independent_strokes_give_the_textbook_error():
    rng = np.random.default_rng(3)
    t_s = np.tile(0.7 * np.arange(60), (11, 1))
    series = Series(t_s, np.full(t_s.shape, np.nan), np.ones(t_s.shape, dtype=bool))

    (found,) = sway.levels(series, 3.0 * rng.standard_normal(t_s.shape))

    assert found.se_n == pytest.approx(3.0 / np.sqrt(60), rel=0.25)
    assert np.isnan(found.torque_nm).all()


def test_strokes_in_blocks_keep_their_mean():
    columns = np.random.default_rng(4).normal(size=(3, 47, 3))
    counts = [47, 1, 40]
    there = np.arange(47) < np.array(counts)[:, None]

    means, kept = sway.blocks_of(columns, there, 3)

    assert kept.sum(axis=1).tolist() == [16, 1, 13]
    for step, count in enumerate(counts):
        blocks = np.array([part.mean(axis=0) for part in _evenly(columns[step, :count], kept[step].sum())])
        np.testing.assert_allclose(means[step, kept[step]], blocks, rtol=1e-12)


def _evenly(rows, parts):
    """Consecutive rows in so many parts that differ by one row at most."""
    found = [rows[len(rows) * i // parts : len(rows) * (i + 1) // parts] for i in range(parts)]
    assert {len(part) for part in found} <= {len(found[0]), len(found[0]) + 1}
    return found


def test_whitening_is_the_inverse_of_the_cholesky_factor():
    """A memoryless, a smooth and a nearly singular correlation, against LAPACK by way of scipy."""
    lag = np.arange(20) / 9.0
    by_lag = np.array([np.exp(-lag), (1.0 + 2.0 * lag) * np.exp(-2.0 * lag), np.exp(-lag / 30.0)])
    by_lag[:, 0] += [0.0, 0.3, 1e-9]

    found = sway.whitening(by_lag)

    for one, factor in zip(by_lag, found, strict=True):
        np.testing.assert_allclose(factor @ cholesky(toeplitz(one), lower=True), np.eye(20), atol=1e-9)


def test_a_torque_that_never_changes_is_still_the_steps_torque():
    series, load_n = even_series(np.random.default_rng(3))
    (held,) = sway.levels(Series(series.t_s, np.where(series.there, 21.0, 0.0), series.there), load_n)
    (unknown,) = sway.levels(Series(series.t_s, np.zeros_like(series.t_s), series.there), load_n)

    assert held.torque_nm == pytest.approx([21.0] * 3)
    assert np.isnan(held.torque_effect), "nothing can be learned of its effect"
    assert np.isnan(unknown.torque_nm).all()
