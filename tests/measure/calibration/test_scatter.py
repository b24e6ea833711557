"""Posteriors of unknown sizes against Student's t and against integration with whole matrices."""

import numpy as np
import pytest
from scipy import integrate, linalg, stats

from daq.measure.calibration.point_fit import point_fit
from daq.measure.calibration.points import parse_points
from daq.measure.calibration.scatter import MixedErrors, half_width_of, scatter
from tests.measure.calibration.simulated_points import CONSTANT, PER_N, table

RNG = np.random.default_rng
NOTHING_SURE = 1e-30


def off_a_line(dof, rng):
    design = np.vander(np.linspace(0.0, 1.0, dof + 2), 2, increasing=True)
    y = rng.normal(size=dof + 2)
    return design, y - design @ np.linalg.lstsq(design, y, rcond=None)[0]


@pytest.mark.parametrize("dof", [1, 2, 3, 7, 30, 300])
def test_scatter_about_exact_loads_gives_students_t(dof):
    design, off = off_a_line(dof, RNG(dof))
    s = np.sqrt(off @ off / dof)

    sizes, _ = scatter(off, design, np.zeros((dof + 2, dof + 2)), NOTHING_SURE)
    interval = half_width_of(sizes.probability, np.zeros(len(sizes.variance)), np.sqrt(sizes.variance))

    assert interval == pytest.approx(s * stats.t(dof).ppf(0.975), rel=1e-3)
    assert np.sqrt(sizes.typical) == pytest.approx(s, rel=1e-3)


def test_columns_of_the_design_that_say_the_same_twice_cost_nothing():
    design, off = off_a_line(7, RNG(1))
    half = np.arange(9.0) < 4
    both = np.column_stack([design, half, ~half, half * design[:, 1]])

    twice, once = (scatter(off, one, np.eye(9), NOTHING_SURE)[0] for one in (both, both[:, [0, 1, 2, 4]]))

    assert twice.dof == once.dof == 5
    assert twice.typical == pytest.approx(once.typical, rel=1e-6)


@pytest.mark.parametrize("dof", [1, 2, 3, 9])
def test_groups_that_alone_differ_give_students_t(dof):
    alone = MixedErrors(np.ones(1), np.full((1, 1), NOTHING_SURE), np.zeros(1, dtype=int))

    mixture = alone.with_groups(np.array([4.0 * dof]), dof, np.zeros(1), np.full((1, 1), 0.25))

    # a mean of 4 groups with a standard deviation of 2
    assert mixture.about(np.zeros((1, 1)))[1] == pytest.approx([stats.t(dof).ppf(0.975)], rel=1e-3)


@pytest.mark.parametrize("square_sum", [0.0, 0.1, 1.0])
def test_groups_alike_by_chance_do_not_make_the_rest_smaller(square_sum):
    rest = MixedErrors(np.ones(1), np.full((1, 1), 0.25), np.zeros(1, dtype=int))

    mixture = rest.with_groups(np.array([square_sum]), 2, np.ones(1), np.full((1, 1), 0.25))

    assert mixture.about(np.zeros((1, 1)))[1][0] >= 1.9599 * 0.5


@pytest.mark.parametrize("weights", ["shared", "per-load", "independent"])
@pytest.mark.parametrize("noise_n", [0.005, 0.05, 0.5])
def test_the_mixture_by_adaptive_integration_with_whole_matrices(weights, noise_n):
    """The restricted likelihood from the density of contrasts by SciPy, the prior from the inverse of their covariance,
    and the coefficients by generalised least squares with the inverse of the covariance; integrated over the logarithm
    of the scatter by QUADPACK."""
    text = table(RNG(3), weights=weights, u=1e-3, noise_n=noise_n, columns=("u_load_n",))
    points = parse_points(text)
    found = point_fit(points, 1, weights)
    x, y = points.load_n, points.reading / PER_N
    design = np.column_stack([np.ones_like(x), x])
    together = {"shared": np.ones((len(x), len(x))), "per-load": x[:, None] == x, "independent": np.eye(len(x))}
    slope = float(found.plain.coefficients[1]) / PER_N
    loads = slope**2 * np.outer(points.u_load_n, points.u_load_n) * together[weights]
    contrasts = linalg.null_space(design.T)

    def parts(log_sd):
        whole = np.exp(2.0 * log_sd) * np.eye(len(x)) + loads
        seen = contrasts.T @ whole @ contrasts
        likelihood = stats.multivariate_normal(cov=seen).logpdf(contrasts.T @ y)
        normal = design.T @ np.linalg.inv(whole)
        covariance = np.linalg.inv(normal @ design)
        prior = np.log(np.trace(np.linalg.inv(seen)))
        return likelihood + prior + 2.0 * log_sd, covariance @ normal @ y, covariance

    half, middle = found.expanded / PER_N, found.coefficients / PER_N
    grid = np.linspace(np.log(1e-4), np.log(10.0), 300)
    best, highest = max((parts(one)[0], one) for one in grid)

    def whole_inside_and_off(log_sd):
        log_p, centre, covariance = parts(log_sd)
        off = centre - middle
        inside = np.diff(stats.norm(off, np.sqrt(np.diagonal(covariance))).cdf([-half, half]), axis=0)[0]
        return np.exp(log_p - best) * np.concatenate([[1.0], inside, off / half])

    whole, *means = integrate.quad_vec(whole_inside_and_off, grid[0], grid[-1], points=[highest], epsrel=1e-6)[0]
    assert np.array(means[:2]) / whole == pytest.approx(0.95, abs=1e-3)
    assert np.array(means[2:]) / whole == pytest.approx(0.0, abs=1e-3)


def test_a_zero_whose_load_is_exact_is_not_taken_as_exact():
    """One reading at zero load, where no weight can err, says nothing of its own scatter: by chance the others may
    leave hardly any. With the best value of it alone one zero in ten was off by 5.5 half-widths and more."""
    rng = RNG(8)

    def missed_by():
        text = table(rng, weights="independent", u=1e-3, noise_n=0.05, both_ways=False, columns=("u_load_n",))
        found = point_fit(parse_points(text), 1, "independent")
        return abs(found.coefficients[0] - CONSTANT) / found.expanded[0]

    missed = [missed_by() for _ in range(200)]

    # 5 in 100 are beyond 1; more than 22 of 200 in 1 of 1,000 (binomial)
    assert np.count_nonzero(np.array(missed) > 1.0) <= 22
    assert max(missed) < 3.0
