"""Fits against NIST, the GUM, exact rational arithmetic and two other packages."""

from fractions import Fraction

import GTC
import numpy as np
import pytest
import uncertainties

from daq.measure.calibration.fit import FitError, fit_polynomial, fit_through_zero
from tests.published.calibration import columns, facts

CERTIFIED = facts("nist_certified.json")
H3 = facts("gum_h3.json")["published_rounded"]


def nist(name):
    table = columns(f"nist_{name}.csv")
    if name == "pontius":
        return fit_polynomial(table["load_x"], table["deflection_y"], 2)
    return fit_polynomial(table["x"], table["y"], 1)


def h3():
    table = columns("gum_h3.csv")
    return table["t_degC"] - 20.0, table["b_degC"]


@pytest.mark.parametrize("name", ["pontius", "norris"])
def test_certified_figures_of_nist_to_twelve_digits(name):
    fit, certified = nist(name), CERTIFIED[name]

    # 12 digits: one unit in the 13th is what centring and scaling can lose on Pontius; NIST certifies 15
    assert fit.coefficients == pytest.approx(certified["B"], rel=1e-12)
    assert fit.standard_uncertainties == pytest.approx(certified["sd_B"], rel=1e-12)
    assert float(fit.residual_sd) == pytest.approx(certified["residual_sd"], rel=1e-12)
    assert float(fit.r_squared) == pytest.approx(certified["R2"], rel=1e-14)
    assert float(fit.ss_regression) == pytest.approx(certified["ss_regression"], rel=1e-12)
    assert float(fit.ss_residual) == pytest.approx(certified["ss_residual"], rel=1e-12)
    assert float(fit.f) == pytest.approx(certified["F"], rel=1e-12)
    assert fit.dof == certified["df_residual"]


def test_covariances_of_the_scientific_library_tests():
    # GSL's own test values for the two NIST sets, printed there to 15 digits
    pontius, norris = nist("pontius"), nist("norris")
    unscaled = np.array(CERTIFIED["pontius"]["not_certified_by_NIST"]["unscaled_covariance_XtX_inverse"])

    assert pontius.covariance / float(pontius.residual_sd) ** 2 == pytest.approx(unscaled, rel=1e-12)
    assert norris.covariance[0, 1] == pytest.approx(CERTIFIED["norris"]["not_certified_by_NIST"]["cov01"], rel=1e-12)


def test_solving_on_raw_powers_of_the_load_is_what_loses_the_digits():
    table, certified = columns("nist_pontius.csv"), np.array(CERTIFIED["pontius"]["B"])
    raw = np.linalg.lstsq(np.vander(table["load_x"], 3, increasing=True), table["deflection_y"], rcond=None)[0]

    ours = np.abs(nist("pontius").coefficients / certified - 1.0).max()

    assert ours < 1e-4 * np.abs(raw / certified - 1.0).max()


def test_the_line_of_the_gum_to_its_printed_digits():
    fit = fit_polynomial(*h3(), 1)
    u = fit.standard_uncertainties

    # JCGM 100 H.3, as printed: two digits of each uncertainty
    assert fit.coefficients == pytest.approx([H3["y1"], H3["y2"]], abs=5e-5)
    assert u == pytest.approx([H3["u_y1"], H3["u_y2"]], abs=5e-5)
    assert fit.covariance[0, 1] / (u[0] * u[1]) == pytest.approx(H3["r"], abs=5e-3)
    assert float(fit.residual_sd) == pytest.approx(H3["s"], abs=5e-5)
    assert float(fit.at([10.0])[0]) == pytest.approx(H3["b_30"], abs=5e-5)
    at_10 = np.array([1.0, 10.0])
    assert np.sqrt(at_10 @ fit.covariance @ at_10) == pytest.approx(H3["u_b_30"], abs=5e-5)
    assert fit.dof == H3["df"]


def test_the_line_of_the_gum_as_two_uncertainty_packages_propagate_it():
    t, b = h3()
    fit = fit_polynomial(t, b, 1)
    constant, slope = uncertainties.correlated_values(fit.coefficients, fit.covariance)
    gtc = GTC.type_a.line_fit(t, b)

    corrected = constant + 10.0 * slope

    at_10 = np.array([1.0, 10.0])
    assert [float(fit.at([10.0])[0]), np.sqrt(at_10 @ fit.covariance @ at_10)] == pytest.approx(
        [corrected.nominal_value, corrected.std_dev], rel=1e-12
    )
    assert fit.coefficients == pytest.approx([gtc.a_b[0].x, gtc.a_b[1].x], rel=1e-11)
    assert fit.standard_uncertainties == pytest.approx([gtc.a_b[0].u, gtc.a_b[1].u], rel=1e-11)
    assert fit.covariance[0, 1] == pytest.approx(GTC.get_covariance(gtc.a_b[0], gtc.a_b[1]), rel=1e-11)
    assert gtc.a_b[0].df == fit.dof


def test_a_weighted_line_as_another_package_weighs_it():
    x, y = columns("nist_norris.csv").values()
    u = 0.2 + 0.002 * x
    gtc = GTC.type_a.line_fit_rwls(x, y, u)

    fit = fit_polynomial(x, y, 1, weights=1.0 / u**2)

    assert fit.coefficients == pytest.approx([gtc.a_b[0].x, gtc.a_b[1].x], rel=1e-11)
    assert fit.standard_uncertainties == pytest.approx([gtc.a_b[0].u, gtc.a_b[1].u], rel=1e-11)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_weighted_fits_equal_rational_arithmetic(order):
    rng = np.random.default_rng(order)
    x = rng.integers(3_000_000, 8_388_607, 9).astype(float)
    y, w = rng.integers(-50, 5000, 9).astype(float) / 8.0, rng.integers(1, 9, 9).astype(float)

    fit = fit_polynomial(x, y, order, weights=w)

    # counts far from zero: the powers of x alone would lose 2 digits an order; 1e-9 is what the shift back may cost
    assert fit.coefficients == pytest.approx(rational_fit(x, y, w, order), rel=1e-9)


def rational_fit(x, y, w, order):
    """Weighted least squares by exact elimination on the normal equations."""
    x, y, w = ([Fraction(v) for v in values] for values in (x, y, w))
    p = order + 1
    rows = [
        [sum(k * a ** (i + j) for a, k in zip(x, w, strict=True)) for j in range(p)]
        + [sum(k * b * a**i for a, b, k in zip(x, y, w, strict=True))]
        for i in range(p)
    ]
    for i in range(p):
        rows[i] = [value / rows[i][i] for value in rows[i]]
        for j in range(p):
            if j != i:
                rows[j] = [a - rows[j][i] * b for a, b in zip(rows[j], rows[i], strict=True)]
    return [float(row[-1]) for row in rows]


def test_points_on_a_parabola_give_it_back():
    x = np.linspace(0.0, 500.0, 11)

    fit = fit_polynomial(x, 3.0 + 0.5 * x - 1e-5 * x**2, 2)

    assert fit.coefficients == pytest.approx([3.0, 0.5, -1e-5], rel=1e-10)
    assert float(fit.residual_sd) < 1e-12


def test_many_calibrations_at_once_equal_each_alone():
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0.0, 500.0, (5, 2, 12)), rng.normal(size=(5, 2, 12))

    together = fit_polynomial(x, y, 2)

    for i in range(5):
        alone = fit_polynomial(x[i, 1], y[i, 1], 2)
        assert together.coefficients[i, 1] == pytest.approx(alone.coefficients, rel=1e-12)
        assert together.covariance[i, 1] == pytest.approx(alone.covariance, rel=1e-9)


def test_covariance_is_that_of_fits_to_scattered_readings():
    rng = np.random.default_rng(7)
    x = np.tile(np.linspace(0.0, 500.0, 6), 3)
    truth = fit_polynomial(x, 2.0 + 0.01 * x + rng.normal(0.0, 1e-3, 18), 2)

    fits = fit_polynomial(np.tile(x, (20_000, 1)), 2.0 + 0.01 * x + rng.normal(0.0, 1e-3, (20_000, 18)), 2)

    expected = truth.covariance / float(truth.residual_sd) ** 2 * 1e-6
    # a covariance from 20 000 fits is known to sqrt(2 / 20 000) = 1 %; five of these
    assert np.cov(fits.coefficients.T) == pytest.approx(expected, rel=0.05)
    assert float((fits.residual_sd**2).mean()) == pytest.approx(1e-6, rel=0.01)


def test_the_load_of_a_reading():
    # computed from the certified coefficients by an independent program
    published = facts("pontius_derived.json")["inverse"]

    assert nist("pontius").inverse(published["y"]) == pytest.approx(published["load"], rel=1e-12)


def test_a_reading_the_curve_never_reaches_has_no_load():
    with pytest.raises(FitError, match="cannot be inverted at 1000"):
        nist("pontius").inverse(1e3)


@pytest.mark.parametrize(
    ("x", "y", "order", "weights", "sentence"),
    [
        ([0, 1, 2], [0, 1], 1, None, "as many y as x"),
        ([0, 1, 2], [0, 1, 2], -1, None, "order: expected 0 .* got -1"),
        ([0, 1, 2], [0, 1, 2], 4, None, "order: expected"),
        ([0, 1, 2], [0, 1, 2], 2, None, "too few points: .* at least 4, got 3"),
        ([0, 1, 1, 0, 1], [0, 1, 2, 3, 4], 2, None, "too few different loads: .* at least 3, got 2"),
        ([0, 1, np.nan], [0, 1, 2], 1, None, "finite numbers"),
        ([0, 1, 2], [0, 1, np.inf], 1, None, "finite numbers"),
        ([0, 1, 2], [0, 1, 2], 1, [1, 0, 1], "weights: expected finite numbers above 0"),
    ],
)
def test_points_that_allow_no_fit_say_why(x, y, order, weights, sentence):
    with pytest.raises(FitError, match=sentence):
        fit_polynomial(x, y, order, weights=weights)


def test_a_curve_through_zero_is_least_squares_without_a_constant():
    rng = np.random.default_rng(8)
    x = np.concatenate([[0.0, 0.0], rng.uniform(1e5, 4e6, 15)])
    y = 1.2e-4 * x + 1e-13 * x**2 + rng.normal(0.0, 0.05, 17)
    w = rng.uniform(0.5, 2.0, 17)
    scaled = x / 4e6
    design = np.column_stack([scaled, scaled**2]) * np.sqrt(w)[:, None]
    solved, rest, *_ = np.linalg.lstsq(design, y * np.sqrt(w), rcond=None)

    fit = fit_through_zero(x, y, 2, weights=w)

    # the two points at zero say nothing of the curve, and nothing of the scatter of the others either
    at_zero = float((w[:2] * y[:2] ** 2).sum())
    assert fit.coefficients == pytest.approx(solved / [4e6, 4e6**2], rel=1e-10)
    assert fit.dof == 13
    assert fit.residual_sd == pytest.approx(np.sqrt((rest[0] - at_zero) / 13), rel=1e-9)
    variance = fit.residual_sd**2 * np.linalg.inv(design.T @ design)
    assert fit.covariance == pytest.approx(variance / np.outer([4e6, 4e6**2], [4e6, 4e6**2]), rel=1e-8)
    assert fit.residuals == pytest.approx(y - fit.at(x), abs=1e-12)


def test_a_curve_through_zero_is_a_line_or_a_parabola():
    with pytest.raises(FitError, match=r"order: expected 1 \(a line\) or 2"):
        fit_through_zero([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], 3)
