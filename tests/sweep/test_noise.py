"""The pooled model against generalised least squares by statsmodels, and against what many sweeps really scatter."""

import numpy as np
import pytest

from daq.sweep import noise
from daq.sweep.evidence import stroke_errors
from daq.sweep.noise import Series, as_series, levels, smoothed
from daq.sweep.pooled import pooled
from tests.sweep.rides import hinge, ride, stroke_ride, swaying

SHARE, TAU_S = 0.6, 3.0


def uneven_series(rng):
    """Three steps of 12, 9 and 15 strokes at uneven times."""
    steps = []
    for k in (12, 9, 15):
        t_s = np.cumsum(rng.uniform(0.4, 1.2, k))
        steps.append(list(zip(t_s, 21.0 + rng.normal(size=k), 80.0 + rng.normal(size=k), strict=True)))
    filled, there = as_series(steps)
    return Series(filled[..., 0], filled[..., 1], there), filled[..., 2]


def test_levels_are_those_of_generalised_least_squares(monkeypatch):
    from statsmodels.regression.linear_model import GLS

    monkeypatch.setattr(noise, "SWAY_SHARES", np.array([SHARE]))
    monkeypatch.setattr(noise, "TAUS_S", np.array([TAU_S]))
    series, load_n = uneven_series(np.random.default_rng(1))

    (found,) = levels(series, load_n)

    there, step_of = series.there, np.nonzero(series.there)[0]
    t_s, torque = series.t_s[there], series.torque_nm[there]
    same = step_of[:, None] == step_of
    covariance = same * (SHARE * np.exp(-np.abs(t_s[:, None] - t_s) / TAU_S)) + (1.0 - SHARE + 1e-9) * np.eye(len(t_s))
    design = np.column_stack([step_of == i for i in range(3)] + [torque - torque.mean()]).astype(float)
    theirs = GLS(load_n[there], design, sigma=covariance).fit()
    at_mean_torque = found.load_n - found.torque_effect * (found.torque_nm - torque.mean())
    assert found.torque_effect == pytest.approx(theirs.params[3], rel=1e-8)
    assert found.torque_effect_se == pytest.approx(theirs.bse[3], rel=1e-8)
    assert at_mean_torque == pytest.approx(theirs.params[:3], rel=1e-10)
    assert found.sd_n == pytest.approx(np.sqrt(theirs.scale), rel=1e-8)


def test_two_loads_at_once_are_each_what_they_are_alone():
    series, load_n = uneven_series(np.random.default_rng(3))
    other_n = 300.0 - 2.0 * load_n + np.random.default_rng(5).normal(size=load_n.shape)

    both = levels(series, load_n, other_n)

    for together, (alone,) in zip(both, (levels(series, load_n), levels(series, other_n)), strict=True):
        assert together.load_n == pytest.approx(alone.load_n, rel=1e-12)
        assert together.se_n == pytest.approx(alone.se_n, rel=1e-12)
        assert together.torque_effect == pytest.approx(alone.torque_effect, rel=1e-9)


def test_the_standard_error_is_what_step_means_scatter_by():
    """440 steps: their scatter is known to 1 / sqrt(2 x 440) = 3.4 %; the bound is four of these."""
    rng = np.random.default_rng(2)
    sweeps = [[swaying(38, rng) for _ in range(11)] for _ in range(40)]
    told = []
    for sweep in sweeps:
        t_s = np.tile(2.0 / 3.0 * np.arange(38), (11, 1))
        series = Series(t_s, np.full((11, 38), np.nan), np.ones((11, 38), dtype=bool))
        told.append(levels(series, np.array(sweep))[0].se_n.mean())

    true_n = np.sqrt(np.mean([[step.mean() ** 2 for step in sweep] for sweep in sweeps]))

    assert np.mean(told) == pytest.approx(true_n, rel=4 * 0.034)


def test_independent_strokes_give_the_textbook_error():
    steps = stroke_ride(hinge(52.0), sd_n=0.0, scatter_n=3.0, strokes=60, seed=3)

    assert stroke_errors(steps) == pytest.approx(3.0 / np.sqrt(60), rel=0.25)  # 649 degrees of freedom, and some sway


def test_steps_without_strokes_keep_the_errors_they_came_with():
    assert stroke_errors(ride(hinge(52.0), se_n=1.5)) == pytest.approx(1.5)
    assert np.isnan(stroke_errors(ride(hinge(52.0)))).all()


def test_one_step_without_strokes_means_no_pooled_model():
    steps = stroke_ride(hinge(52.0))

    assert pooled([*steps, *ride(hinge(52.0))[:1]]) is None


def test_unknown_torque_on_one_stroke_leaves_torque_out():
    series, load_n = uneven_series(np.random.default_rng(4))
    series.torque_nm[0, 3] = np.nan

    (found,) = levels(series, load_n)

    assert np.isnan(found.torque_nm).all()
    assert np.isnan(found.torque_effect)
    assert np.isfinite(found.se_n).all()


def test_a_saddle_that_copies_the_hands_is_no_witness():
    assert pooled(stroke_ride(hinge(52.0), saddle=lambda hands, rng: 500.0 - hands)).witness is None


def test_a_saddle_of_its_own_is_a_witness():
    steps = stroke_ride(hinge(52.0), saddle=lambda hands, rng: 500.0 - hands + 2.0 * rng.standard_normal(len(hands)))

    found = pooled(steps)

    assert found.witness.load_n == pytest.approx(500.0, abs=5.0), "the saddle without what it takes from the hands"
    assert found.witness.se_n.max() < 0.6 * found.hands.se_n.min()


def test_smoothing_keeps_a_line_and_shortens_at_the_ends():
    there = np.array([[True] * 7, [True] * 5 + [False] * 2])

    found = smoothed(np.tile(np.arange(7.0), (2, 1)), there, 3)

    np.testing.assert_allclose(found[0], [0.5, 1, 2, 3, 4, 5, 5.5])
    np.testing.assert_allclose(found[1, :5], [0.5, 1, 2, 3, 3.5])
