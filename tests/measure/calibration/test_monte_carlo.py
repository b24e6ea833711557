import math
from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import Term, Uncertainty, expanded
from daq.measure.calibration.monte_carlo import cross_check, drawn, summarised
from daq.measure.calibration.uncertainty import combine
from tests.published.calibration import facts

S1 = facts("gum_s1_9_3.json")


def mass_example(trials, rng):
    """Drawn deviations from nominal, mg, by the model and inputs of JCGM 101 9.3."""

    def draw(name):
        kind, first, second = S1["inputs"][name]
        if kind == "normal":
            return first + drawn("normal", second, trials, rng)
        return (first + second) / 2 + drawn("rectangular", (second - first) / 2 / math.sqrt(3), trials, rng)

    air, weight, reference = draw("rho_a_kg_m3"), draw("rho_W_kg_m3"), draw("rho_R_kg_m3")
    mass = draw("mRc_mg") + draw("dmRc_mg")
    return mass * (1 + (air - 1.2) * (1 / weight - 1 / reference)) - S1["inputs"]["m_nom_mg"]


def test_the_mass_example_of_supplement_1():
    # published figures from memory, cross-checked with 2 million draws of another program
    found = summarised(mass_example(1_000_000, np.random.default_rng(1)))

    published, other = S1["published_from_memory"]["MCM"], S1["computed_here"]
    assert found.mean == pytest.approx(published["y"], abs=5e-4)
    # the standard uncertainty of 10^6 draws is good to 0.07 %, the ends of the interval to about 2e-4
    assert found.standard == pytest.approx(published["u"], abs=2e-4)
    assert found.standard == pytest.approx(other["u"], abs=3e-4)
    assert found.shortest == pytest.approx(tuple(published["I95_shortest"]), abs=2e-3)
    assert found.symmetric == pytest.approx(found.shortest, abs=4e-3)


def test_first_order_propagation_is_too_small_on_that_example():
    inputs = S1["inputs"]
    first_order = combine([(inputs["mRc_mg"][2], None, "normal"), (inputs["dmRc_mg"][2], None, "normal")])

    # the densities enter only as a product of deviations, which first order does not see
    assert first_order.standard_n == pytest.approx(S1["published_from_memory"]["GUM_1st_order"]["u"], abs=5e-5)
    assert first_order.standard_n < 0.72 * S1["published_from_memory"]["MCM"]["u"]


@pytest.mark.parametrize("shape", ["normal", "rectangular", "triangular", "arc sine"])
def test_every_shape_has_the_standard_uncertainty_asked_for(shape):
    errors = drawn(shape, 0.3, 200_000, np.random.default_rng(2))

    assert errors.mean() == pytest.approx(0.0, abs=5 * 0.3 / math.sqrt(200_000))
    assert errors.std() == pytest.approx(0.3, rel=0.01)
    ends = {"rectangular": math.sqrt(3), "triangular": math.sqrt(6), "arc sine": math.sqrt(2)}
    assert np.abs(errors).max() <= 0.3 * ends.get(shape, 6.0)


def test_few_degrees_of_freedom_spread_wider():
    errors = drawn("normal", 1.0, 400_000, np.random.default_rng(3), dof=4.0)

    # Student's t with 4 degrees: 95 % within 2.776 (JCGM 100 table G.2)
    assert np.quantile(np.abs(errors), 0.95) == pytest.approx(2.776, rel=0.02)


def test_formulas_and_drawing_agree_on_a_budget_of_many_known_terms():
    shapes = ("normal", "normal", "rectangular", "triangular") * 3
    terms = tuple(Term(f"term {i}", absolute_n=0.1, shape=shape) for i, shape in enumerate(shapes))

    found = cross_check(Uncertainty((*terms, Term("weights", relative=1e-4))), 300.0, np.random.default_rng(4))

    assert found.agrees
    assert found.by_drawing.standard == pytest.approx(found.by_formula.standard_n, rel=0.01)


def test_one_rectangular_term_that_rules_makes_a_narrower_interval():
    budget = Uncertainty((Term("resolution", absolute_n=1.0, shape="rectangular"), Term("zero", absolute_n=0.05)))

    found = cross_check(budget, 0.0, np.random.default_rng(5))

    # 95 % of a rectangle lies within 1.645 standard uncertainties, not 1.96 (JCGM 100 4.3.7)
    assert found.agrees
    assert found.by_formula.coverage_factor == pytest.approx(1.645, abs=5e-3)
    assert found.by_drawing.symmetric[1] == pytest.approx(1.65, abs=0.02)


def test_a_term_of_few_readings_among_known_ones_is_drawn_as_wide_as_it_is_stated():
    series = Uncertainty((Term("sensitivity", absolute_n=1.0, dof=2.0),))
    among_others = Uncertainty((*series.terms, Term("gravity", absolute_n=3.0)))

    for budget in (series, among_others):
        assert cross_check(budget, 0.0, np.random.default_rng(8)).agrees
    # Welch-Satterthwaite gives 200 here: 2 x (10)^2 / 1 (JCGM 100 G.4.1), and 1.97 with them would be too narrow
    hidden = expanded(among_others, 0.0)
    assert hidden.dof == pytest.approx(200.0)
    assert hidden.coverage_factor > 2.05


def test_an_interval_that_is_wrong_does_not_agree():
    budget = Uncertainty((Term("resolution", absolute_n=1.0, shape="rectangular"), Term("zero", absolute_n=0.05)))
    found = cross_check(budget, 0.0, np.random.default_rng(5))

    by_w_s = replace(found, difference_n=1.96 - found.by_drawing.symmetric[1])

    assert not by_w_s.agrees


def test_the_scatter_of_the_fit_is_drawn_too():
    found = cross_check(Uncertainty((), fit=(1e-6, 0.0, 0.0), fit_dof=30.0), 200.0, np.random.default_rng(6))

    assert found.by_drawing.symmetric[1] == pytest.approx(found.by_formula.expanded_n, rel=0.02)


def test_the_same_generator_gives_the_same_answer():
    budget = Uncertainty((Term("zero", absolute_n=0.05),))

    assert cross_check(budget, 1.0, np.random.default_rng(7)) == cross_check(budget, 1.0, np.random.default_rng(7))


def test_too_few_trials_are_refused():
    with pytest.raises(ValueError, match="at least 1000 trials, got 10"):
        summarised(np.zeros(10))
