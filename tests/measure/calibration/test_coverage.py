"""Intervals of sums of errors against closed forms; where there is none, against drawing (see test_monte_carlo)."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from daq.measure.calibration.coverage import characteristic, half_width

SHAPES = {
    "normal": stats.norm(),
    "rectangular": stats.uniform(-math.sqrt(3), 2 * math.sqrt(3)),
    "triangular": stats.triang(0.5, -math.sqrt(6), 2 * math.sqrt(6)),
    "arc sine": stats.arcsine(-math.sqrt(2), 2 * math.sqrt(2)),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_one_error_alone_has_the_interval_of_its_distribution(shape, confidence):
    assert SHAPES[shape].std() == pytest.approx(1.0)
    assert half_width([(0.3, None, shape)], confidence) == pytest.approx(0.3 * SHAPES[shape].ppf(0.5 + confidence / 2))
    assert half_width([(0.3, 5.0, shape)], confidence) == pytest.approx(0.3 * stats.t(5).ppf(0.5 + confidence / 2))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_has_the_characteristic_function_of_its_density(shape):
    t = np.array([0.1, 0.7, 2.0, 5.0])

    by_density = [SHAPES[shape].expect(lambda x, t=one: np.cos(0.3 * t * x)) for one in t]

    assert characteristic(t, 0.3, None, shape) == pytest.approx(by_density, abs=1e-6)


@pytest.mark.parametrize("dof", [1.0, 2.0, 5.0, 17.0, 60.0])
def test_students_t_has_its_characteristic_function(dof):
    """Against QUADPACK's Fourier integral of its density; near zero, where that does not converge, it is 1."""
    t = np.array([0.1, 0.7, 2.0])

    by_density = [2.0 * integrate.quad(stats.t(dof).pdf, 0.0, np.inf, weight="cos", wvar=one)[0] for one in t]

    assert characteristic(t, 1.0, dof, "normal") == pytest.approx(by_density, abs=1e-5)
    assert characteristic(np.array([1e-9]), 1.0, dof, "normal") == pytest.approx(1.0, abs=1e-6)


def test_two_equal_rectangles_make_a_triangle_worked_by_hand():
    # half-widths 1 each: a triangle to +-2, 95 % of it within 2 (1 - sqrt 0.05)
    u = 1.0 / math.sqrt(3.0)

    found = half_width([(u, None, "rectangular"), (u, None, "rectangular")])

    assert found == pytest.approx(2.0 * (1.0 - math.sqrt(0.05)), rel=1e-3)


@pytest.mark.parametrize(("u_t", "dof"), [(1.0, 1.0), (0.3, 1.0), (1.0, 2.0), (1.0, 5.0)])
def test_students_t_beside_a_normal_error_by_another_integration(u_t, dof):
    """P(|u_t T + Z| <= U) as the mean over T of the normal probability, by quantiles of T."""
    found = half_width([(u_t, dof, "normal"), (1.0, None, "normal")])
    centre = u_t * stats.t(dof).ppf((np.arange(400_000) + 0.5) / 400_000)

    inside = np.mean(stats.norm.cdf(found - centre) - stats.norm.cdf(-found - centre))

    assert inside == pytest.approx(0.95, abs=2e-4)


def test_normal_errors_add_in_squares_and_nothing_is_nothing():
    assert half_width([(3.0, None, "normal"), (4.0, None, "normal")]) == pytest.approx(5.0 * 1.959964, rel=1e-6)
    assert half_width([]) == 0.0
    assert half_width([(0.0, 3.0, "normal"), (0.0, None, "rectangular")]) == 0.0


def test_from_60_degrees_of_freedom_on_students_t_is_a_normal_error_of_the_same_interval():
    for other in (0.1, 1.0, 5.0):
        just, above = (half_width([(1.0, dof, "normal"), (other, None, "rectangular")]) for dof in (60.0, 60.1))

        assert above == pytest.approx(just, rel=3e-3)
