"""A curve beside a hysteresis loop, against least squares of another package; what it states holds with few loads."""

import numpy as np
import pytest
import statsmodels.api as sm

from daq.measure.calibration.fit import FitError
from daq.measure.calibration.loop_fit import fit_beside_loop
from daq.measure.calibration.points import parse_points
from daq.measure.calibration.repeats import loop_shape
from daq.measure.calibration.report import fit_report
from tests.measure.calibration.simulated_points import PER_N, held, table

RNG = np.random.default_rng


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("loads", [3, 4, 9])
def test_coefficients_covariance_and_scatter_as_another_package_has_them(order, loads):
    points = parse_points(table(RNG(1), loads=loads, hysteresis=0.01, noise_n=0.05, columns=("direction",)))
    shape = loop_shape(points)
    design = np.column_stack([np.vander(points.load_n, order + 1, increasing=True), shape])
    other = sm.OLS(points.reading, design).fit()

    fit, opening = fit_beside_loop(points.load_n, points.reading, order, shape)

    assert fit.dof == other.df_resid
    assert [*fit.coefficients, opening] == pytest.approx(other.params, rel=1e-6, abs=1e-6 * PER_N)
    assert fit.covariance == pytest.approx(other.cov_params()[:-1, :-1], rel=1e-6)
    assert float(fit.residual_sd) == pytest.approx(np.sqrt(other.mse_resid), rel=1e-9)
    assert fit.residuals == pytest.approx(other.resid, abs=1e-6 * PER_N)


def test_a_loop_opens_by_the_difference_of_falling_and_rising_at_mid_load():
    points = parse_points(
        "load_n,reading,direction\n100,0,up\n150,3,up\n200,8,up\n200,8,down\n150,7,down\n100,0,down\n"
    )

    assert loop_shape(points) == pytest.approx([0.0, -0.5, 0.0, 0.0, 0.5, 0.0])
    assert fit_beside_loop(points.load_n, points.reading, 1, loop_shape(points))[1] == pytest.approx(4.0)


def test_the_loop_costs_a_degree_of_freedom_where_points_are_few():
    """3 loads up and down with scatter alone: with the loop taken out as if it were known 87 in 100 held."""
    zero, slope = held(500, loads=3, hysteresis=0.002, noise_n=0.05, columns=("direction",))

    # 500 hits at 95 % scatter by 1 %
    assert 0.92 <= zero <= 0.98
    assert 0.92 <= slope <= 0.98


def test_a_loop_is_carried_through_errors_of_loads_too():
    """By statsmodels' generalised least squares, with the scatter that the sizes have on average."""
    text = table(RNG(2), weights="independent", u=1e-3, loads=5, hysteresis=0.01, noise_n=0.5)
    points = parse_points(text)
    found = fit_report(text, 1, weights="independent")
    scatter = found["uncertainty_from"]["scatter"]
    slope = found["coefficients"][1]
    design = np.column_stack([np.ones(9), points.load_n, loop_shape(points)])

    def whole(scatter_sd):
        return scatter_sd**2 + (slope * points.u_load_n) ** 2

    def by_scatter(scatter_sd):
        weights = np.linalg.pinv(design / np.sqrt(whole(scatter_sd))[:, None]) / np.sqrt(whole(scatter_sd))
        return scatter_sd * np.sqrt((weights**2).sum(axis=1))[:2]

    sd = np.geomspace(0.01, 10.0, 4000) * PER_N
    typical = sd[np.argmin([abs(by_scatter(one)[1] - scatter[1]) for one in sd])]
    other = sm.WLS(points.reading, design, weights=1.0 / whole(typical)).fit(cov_type="fixed scale")

    assert found["standard_uncertainties"] == pytest.approx(other.bse[:2], rel=2e-3)


def test_too_few_points_to_know_a_loop_are_refused_with_their_number():
    points = parse_points("load_n,reading,direction\n0,0,up\n5,10,up\n10,20,up\n5,10.1,down\n")

    fit, _ = fit_beside_loop(points.load_n, points.reading, 1, loop_shape(points))

    assert fit.dof == 1
    with pytest.raises(FitError, match=r"order 2 with a residual needs at least 5 where the direction is known.*got 4"):
        fit_beside_loop(points.load_n, points.reading, 2, loop_shape(points))


def test_a_column_of_directions_without_a_load_reached_both_ways_changes_nothing():
    rows = table(RNG(3), both_ways=False, columns=("direction",))
    plain = "\n".join(row.rsplit(",", 1)[0] for row in rows.splitlines())

    assert fit_report(rows, 1) == fit_report(plain, 1)
