import math

import GTC
import pytest

from daq.measure.calibration import Term, Uncertainty, expanded, expanded_sum
from daq.measure.calibration.coverage import coverage_factor
from daq.measure.calibration.uncertainty import combine

GAUGE_NM = [(25.0, 18.0, "normal"), (9.7, 25.6, "normal"), (2.9, 50.0, "normal"), (16.6, 2.0, "normal")]
"""Standard uncertainties and degrees of freedom of the end gauge, JCGM 100 H.1 (from memory)."""


def test_the_end_gauge_of_the_gum():
    found = combine(GAUGE_NM, confidence=0.99)

    # H.1 prints u = 32 nm, 16 degrees of freedom (truncated), k = 2.92 for them, U = 2.92 x 32 = 93 nm (from memory)
    assert round(found.standard_n) == 32
    assert math.floor(found.dof) == 16
    assert coverage_factor(16, 0.99) == pytest.approx(2.92, abs=5e-3)
    assert coverage_factor(16, 0.99) * round(found.standard_n) == pytest.approx(93.0, abs=0.5)


def test_degrees_of_freedom_and_factor_as_another_package_has_them():
    total = sum(GTC.ureal(0.0, u, df) for u, df, _ in GAUGE_NM)

    found = combine(GAUGE_NM)

    assert found.standard_n == pytest.approx(total.u, rel=1e-12)
    assert found.dof == pytest.approx(total.df, rel=1e-12)
    assert coverage_factor(found.dof) == pytest.approx(GTC.reporting.k_factor(total.df, 95), rel=1e-9)


def test_coverage_factors_of_the_gums_table():
    # JCGM 100 table G.2, 95 %
    for dof, factor in ((1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (50, 2.01), (math.inf, 1.960)):
        assert coverage_factor(dof) == pytest.approx(factor, abs=5e-3)


def test_a_term_is_constant_grows_with_the_load_or_both():
    budget = Uncertainty((Term("zero", absolute_n=0.3), Term("weights", relative=0.002), Term("both", 0.3, 0.002)))

    assert expanded(budget, 0.0).standard_n == pytest.approx(math.sqrt(2) * 0.3)
    assert expanded(budget, 200.0).standard_n == pytest.approx(math.sqrt(0.3**2 + 0.4**2 + 0.5**2))
    assert expanded(budget, 200.0).expanded_n == pytest.approx(1.959964 * math.sqrt(0.5), rel=1e-6)


def test_scatter_of_slope_and_curvature_grows_with_their_covariance():
    # slope u 0.001 and curvature u 2e-6 per newton, fully against one another, meet at 500 N
    budget = Uncertainty((), fit=(1e-6, -2e-9, 4e-12), fit_dof=7.0)

    assert expanded(budget, 100.0).standard_n == pytest.approx(100 * (0.001 - 2e-6 * 100), rel=1e-9)
    assert expanded(budget, 500.0).standard_n == pytest.approx(0.0, abs=1e-9)
    assert expanded(budget, 100.0).dof == pytest.approx(7.0)


def test_weights_shared_by_two_cells_do_not_average_out_and_scatter_does():
    cell = Uncertainty((Term("weights", relative=0.001, shared=True), Term("zero", absolute_n=0.05)))

    together = expanded_sum([(cell, 150.0), (cell, 50.0)])

    assert together.standard_n == pytest.approx(math.sqrt((0.001 * 200) ** 2 + 2 * 0.05**2))


def test_a_term_without_degrees_of_freedom_is_taken_as_known():
    assert math.isinf(combine([(1.0, None, "normal"), (2.0, None, "normal")]).dof)
    assert combine([(1.0, None, "normal"), (1.0, 4.0, "normal")]).dof == pytest.approx(16.0)


def test_nothing_uncertain_is_an_uncertainty_of_zero():
    assert combine([]).expanded_n == 0.0


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Term("x", absolute_n=-0.1), "'x': absolute_n: expected a number of at least 0"),
        (lambda: Term("x", relative=math.nan), "'x': relative"),
        (lambda: Term("x", dof=0.0), "dof: expected a number above 0 or nothing, got 0.0"),
        (lambda: Term("x", shape="round"), "shape: expected normal, rectangular, triangular, arc sine, got 'round'"),
        (lambda: Uncertainty((Term("x"), Term("x"))), "different names"),
        (lambda: Uncertainty((), fit=(1.0, 2.0, 1.0)), "a covariance within them"),
    ],
)
def test_a_budget_that_makes_no_sense_is_refused(make, sentence):
    with pytest.raises(ValueError, match=sentence):
        make()


def test_a_shared_error_that_grows_with_the_load_cancels_between_a_push_and_a_pull():
    """Gravity wrong by 1 % is wrong by as much on every cell: of 100 N and -100 N nothing of it is left."""
    gravity = Uncertainty((Term("gravity", relative=0.01, shared=True),))

    assert expanded_sum([(gravity, 100.0), (gravity, 100.0)]).standard_n == pytest.approx(2.0)
    assert expanded_sum([(gravity, 100.0), (gravity, -60.0)]).standard_n == pytest.approx(0.4)
    assert expanded_sum([(gravity, 100.0), (gravity, -100.0)]).standard_n == 0.0
