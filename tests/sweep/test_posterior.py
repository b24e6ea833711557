"""The closed forms against brute force: dense normal densities and numerical integration by scipy."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from daq.sweep.marginal import Marginal, log_sum
from daq.sweep.posterior import Priors, finer, posterior

X = np.array([-25.0, -10, 5, 20, 25, 15, 0, -15])
Y = np.array([0.4, -1.0, 2.0, 24.0, 30.0, 14.0, 1.0, 0.3])
DESIGN = np.column_stack([np.full(8, 30.0), 0.5 * X])
SCALES = np.array([1.0, 2.5])
SHIFTED, SHIFT_N = 0.2, 9.0


def density(y, scale, shifted_step=None):
    covariance = scale**2 * np.eye(8) + DESIGN @ DESIGN.T
    if shifted_step is not None:
        covariance[shifted_step, shifted_step] += SHIFT_N**2
    return (2.0 * np.pi) ** 4 * multivariate_normal(np.zeros(8), covariance).pdf(y)  # the constant is left out there


def marginal():
    return Marginal(Y, np.ones(8), SCALES, [DESIGN], shifted=SHIFTED, shift_n=SHIFT_N)


def test_evidence_is_the_normal_density_with_each_step_shifted_in_turn():
    found = np.exp(marginal().evidence)

    for k, scale in enumerate(SCALES):
        assert found[k, 0, -1] == pytest.approx((1 - SHIFTED) * density(Y, scale), rel=1e-9, abs=0.0)
        for j in range(8):
            assert found[k, 0, j] == pytest.approx(SHIFTED / 8 * density(Y, scale, j), rel=1e-9, abs=0.0)


@pytest.mark.parametrize("c", [-12.0, 3.3, 18.0])
@pytest.mark.parametrize("width", [0.25, 1.0])
def test_the_rise_is_integrated_over_its_prior(c, width):
    column = np.maximum(X - c, 0.0)

    found = np.exp(marginal().with_rise(column[:, None], (width,))[:, 0, :, 0])

    def over_d(k, j):
        def integrand(d):
            return 2.0 * d**2 / width**2 * norm.pdf(d, 0.0, width) * density(Y - d * column, SCALES[k], j)

        return quad(integrand, 0.0, 12.0 * width, epsabs=0.0, epsrel=1e-9, limit=400)[0]

    for k in range(2):
        assert found[k, -1] == pytest.approx((1 - SHIFTED) * over_d(k, None), rel=1e-6, abs=0.0)
        assert found[k, 3] == pytest.approx(SHIFTED / 8 * over_d(k, 3), rel=1e-6, abs=0.0)


def test_a_rise_against_the_evidence_stays_a_number():
    found = marginal().with_rise(-100.0 * X[:, None], (1.0,))

    assert np.isfinite(found).all()


def test_a_bend_of_either_sign_is_integrated_over_a_normal():
    column = np.maximum(X - 3.0, 0.0)

    found = np.exp(marginal().with_bend(column[:, None], (0.8,))[0, 0, -1, 0])

    wide = multivariate_normal(np.zeros(8), np.eye(8) + DESIGN @ DESIGN.T + 0.64 * np.outer(column, column))
    assert found == pytest.approx((1 - SHIFTED) * (2.0 * np.pi) ** 4 * wide.pdf(Y), rel=1e-9, abs=0.0)


def test_two_widths_are_averaged():
    both = marginal().with_rise(X[:, None], (0.25, 1.0))
    one, two = (marginal().with_rise(X[:, None], (width,)) for width in (0.25, 1.0))

    np.testing.assert_allclose(np.exp(both), 0.5 * (np.exp(one) + np.exp(two)), rtol=1e-12)


def test_log_sum_is_the_log_of_the_sum():
    assert log_sum(np.array([[-1000.0, -1001.0], [-1002.0, -5000.0]])) == pytest.approx(
        -1000.0 + np.log(1 + np.exp(-1.0) + np.exp(-2.0))
    )


def found_for(y, **options):
    return posterior(
        X, y, se=options.get("se"), covariates=np.empty((8, 0)), covariate_means=np.empty(0),
        covariate_sds=np.empty(0), priors=Priors(),
    )  # fmt: skip


def test_probabilities_add_up():
    found = found_for(Y)

    assert found.p_onset + found.p_light + found.p_loaded == pytest.approx(1.0)
    assert found.p.sum() == pytest.approx(1.0)
    assert found.quantile(0.025) < found.quantile(0.5) < found.quantile(0.975)


def test_the_grid_is_a_tenth_of_a_millimetre():
    found = found_for(Y)

    np.testing.assert_allclose(np.diff(found.c), 0.1, rtol=1e-9)


def test_a_clear_bend_is_found_where_it_is():
    found = found_for(2.0 * np.maximum(X - 3.0, 0.0) + 0.2 * np.cos(np.arange(8)), se=np.full(8, 0.3))

    assert found.p_onset > 0.99
    assert found.mean == pytest.approx(3.0, abs=0.3)


def test_the_level_of_hand_load_does_not_matter():
    assert found_for(Y + 500.0).mean == pytest.approx(found_for(Y).mean, abs=1e-6)


def test_one_bad_step_is_named():
    y = 1.5 * np.maximum(X - 2.0, 0.0)
    y[4] += 14.0

    found = found_for(y, se=np.full(8, 1.0))

    assert int(np.argmax(found.p_shifted)) == 4
    assert found.p_shifted[4] > 0.8


def test_the_two_cells_at_the_ends_of_the_grid_are_half_as_wide_as_the_others():
    at, p, log_mean = finer(np.array([0.0, 1.0, 2.0]), np.full(3, -700.0))

    assert p[0] == p[-1] == pytest.approx(0.5 * p[1])
    assert np.ptp(p[1:-1]) == pytest.approx(0.0, abs=1e-12)
    assert (len(at), log_mean) == (21, pytest.approx(-700.0))
