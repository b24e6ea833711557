"""What is stated of each step's error: the strokes', combined with the scatter about the curve."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import linalg, stats

from daq.sweep.evidence import gathered, stroke_errors
from daq.sweep.pooled import pooled
from daq.sweep.step_errors import ADDED_N_PER_MM, BENDS_MM, BENT, FREEDOM, size_of, standard_errors
from daq.values import NAN
from tests.benchmarks.sways import Sway, level_sweep
from tests.sweep.rides import hinge, ride, silent, stroke_ride


def test_the_size_is_the_mean_under_students_t_of_all_curves():
    """Against scipy's multivariate t, which is a normal with an inverse gamma variance, over contrasts that level and
    slope leave alone."""
    rows = ride(hinge(52.0, added=0.8), noise_n=3.0, seed=4, se_n=1.5)
    evidence = gathered([replace(row, t_min=NAN) for row in rows])
    x, n = evidence.forward_mm - evidence.forward_mm.mean(), len(evidence.forward_mm)
    contrasts = linalg.null_space(np.column_stack([np.ones(n), x]).T)
    y = contrasts.T @ evidence.hands_n
    bends_mm = np.linspace(x.min(), x.max(), int(np.ptp(x) / BENDS_MM) + 1)[1:-1]
    rises = [*np.maximum(x[:, None] - bends_mm, 0.0).T, np.zeros(n)]
    priors = [BENT / len(bends_mm)] * len(bends_mm) + [1.0 - BENT]
    weights, means = [], []
    for rise, prior in zip(rises, priors, strict=True):
        shape = contrasts.T @ (1.5**2 * np.eye(n) + ADDED_N_PER_MM**2 * np.outer(rise, rise)) @ contrasts
        freedom = FREEDOM + 2.0
        weights.append(prior * stats.multivariate_t(shape=shape * FREEDOM / freedom, df=freedom).pdf(y))
        means.append((FREEDOM + y @ np.linalg.solve(shape, y)) / (FREEDOM + n - 2))

    assert size_of(evidence) == pytest.approx(np.sqrt(np.average(means, weights=weights)), rel=1e-9)


def test_what_is_stated_keeps_to_the_truth_where_the_strokes_mislead():
    """Over true, over 24 sweeps of riders whose strokes state too much; tests/benchmarks/step_errors.py has all."""
    sums = np.zeros(3)
    for number in range(24):
        steps, true_n = level_sweep(Sway("swinging", tau_s=2.0), 15.0, number)
        actual = pooled(steps).hands.load_n - true_n
        sums += [np.sum(each**2) for each in (standard_errors(steps), stroke_errors(steps), actual)]
    stated, strokes = np.sqrt(sums[:2] / sums[2])

    assert 0.95 < stated < 1.10 < strokes


def test_visits_that_scatter_beyond_their_strokes_are_in_it():
    """3 N from visit to visit, 0.5 N by the strokes; the scatter of 9 visits or so is known to a quarter."""
    visits_n = iter(3.0 * np.random.default_rng(1).standard_normal(11))
    steps = stroke_ride(lambda x: hinge(52.0)(x) + next(visits_n), sd_n=0.0, scatter_n=3.0, seed=3)

    assert stroke_errors(steps).mean() < 0.8
    assert standard_errors(steps).mean() == pytest.approx(3.0, rel=0.5)


def test_a_step_whose_torque_was_missed_states_that_and_the_others_do_not():
    """Torque differs by 0.3 N m from step to step, and moves hand load by 1 to 3.5 N for each: about 2.6 N."""
    steps = stroke_ride(hinge(52.0), sd_n=1.0, scatter_n=0.5, seed=3)
    torque_nm = [step.crank_torque_nm for step in steps]
    every, gap = standard_errors(steps), standard_errors(silent(steps, 4))

    assert gap[4] == pytest.approx(np.hypot(gap[5], 2.6 * np.std(np.delete(torque_nm, 4))), rel=0.15)
    assert gap[4] > 1.5 * gap[5]
    assert np.delete(gap, 4) == pytest.approx(np.delete(every, 4), rel=0.2)


def test_a_hand_load_that_is_not_known_leaves_no_error_known_and_ends_nothing():
    """Of an uncalibrated cell."""
    first, *others = stroke_ride(hinge(52.0))
    unknown = replace(first, hand_load_n=NAN, strokes=tuple(replace(one, hands_n=NAN) for one in first.strokes))

    assert np.isnan(standard_errors([unknown, *others])).all()


def test_what_a_caller_does_to_the_errors_does_not_reach_the_next_one():
    """They are computed once for the same steps."""
    steps = stroke_ride(hinge(52.0))
    standard_errors(steps)[:] = 0.0

    assert standard_errors(steps).min() > 0.0


def test_a_curve_needs_positions_until_then_the_strokes_are_taken_at_their_word():
    steps = stroke_ride(hinge(52.0))[:4]

    assert standard_errors(steps) == pytest.approx(stroke_errors(steps), rel=0)


def test_errors_of_a_table_are_stated_as_given():
    assert standard_errors(ride(hinge(52.0), noise_n=4.0, se_n=1.5)) == pytest.approx(1.5)
    assert np.isnan(standard_errors(ride(hinge(52.0)))).all()


def test_a_drift_that_riders_have_is_no_scatter_and_one_that_none_has_is():
    """Steps in a shuffled order: 1 N a minute is explained by their times, 20 N a minute is not believed."""
    rows = ride(hinge(52.0, added=0.8), noise_n=1.5, seed=4, se_n=1.5)
    minutes = np.random.default_rng(2).permutation(len(rows)).astype(float)

    def size(n_per_min, times):
        drifts = zip(rows, minutes, times, strict=True)
        return size_of(
            gathered([replace(row, hand_load_n=row.hand_load_n + n_per_min * m, t_min=t) for row, m, t in drifts])
        )

    assert size(1.0, minutes) < 0.8 * size(1.0, np.full(len(rows), NAN))
    assert size(20.0, minutes) > 4.0
