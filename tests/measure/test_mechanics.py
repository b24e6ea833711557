import csv
import math
from pathlib import Path

import numpy as np
import pytest

from daq.measure.mechanics import ShareUncertainty, load_point_m, shares, side
from daq.physics import weight_normal_n

GRADIENTS = Path(__file__).parent.parent / "published" / "earth" / "gradient_angle.csv"
FIVE_PCT_DEG = 2.8624052261


def test_the_weight_along_the_normal_follows_the_gradient_table():
    with GRADIENTS.open() as file:
        for row in csv.DictReader(file):
            found = weight_normal_n(75.0, float(row["angle_deg_atan"]))

            assert found == pytest.approx(75.0 * 9.80665 * float(row["cos"]), abs=1e-6)


def test_the_worked_example_at_five_per_cent():
    """75 kg, hands 104.9 N, saddle 388.3 N, g 9.80665: worked by hand."""
    found = shares(104.9, 388.3, mass_kg=75.0, tilt_deg=FIVE_PCT_DEG)

    assert found.weight_normal_n == pytest.approx(734.581, abs=5e-4)
    assert found.feet_n == pytest.approx(241.381, abs=5e-4)
    assert (found.hands, found.saddle, found.feet) == pytest.approx((0.142803, 0.528601, 0.328597), abs=1e-6)


@pytest.mark.parametrize(("tilt_deg", "u_tilt_deg"), [(FIVE_PCT_DEG, 0.3), (11.3099324740, 1.0)])
def test_the_uncertainties_are_those_of_a_monte_carlo_of_the_same_inputs(tilt_deg, u_tilt_deg):
    """Propagation of distributions, JCGM 101: 400 000 draws tell a standard deviation to 0.12 %; 5 times that."""
    u = ShareUncertainty(hands_n=1.5, saddle_n=3.0, correlation=0.6, mass_kg=0.5, tilt_deg=u_tilt_deg, g_relative=5e-4)
    z = np.random.default_rng(11).standard_normal((5, 400_000))
    hands = 104.9 + u.hands_n * z[0]
    saddle = 388.3 + u.saddle_n * (u.correlation * z[0] + math.sqrt(1 - u.correlation**2) * z[1])
    tilt = np.radians(tilt_deg + u.tilt_deg * z[2])
    weight = (75.0 + u.mass_kg * z[3]) * 9.80665 * (1.0 + u.g_relative * z[4]) * np.cos(tilt)

    found = shares(104.9, 388.3, mass_kg=75.0, tilt_deg=tilt_deg, u=u)

    assert found.u_hands == pytest.approx((hands / weight).std(), rel=0.006)
    assert found.u_saddle == pytest.approx((saddle / weight).std(), rel=0.006)
    assert found.u_feet == pytest.approx((1.0 - (hands + saddle) / weight).std(), rel=0.006)
    assert found.u_feet_n == pytest.approx((weight - hands - saddle).std(), rel=0.006)


def test_shares_do_not_depend_on_the_size_of_the_rider():
    light, heavy = (shares(104.9 * k, 388.3 * k, mass_kg=75.0 * k) for k in (1.0, 1.3))

    assert (light.hands, light.saddle, light.feet) == pytest.approx((heavy.hands, heavy.saddle, heavy.feet))


def test_without_a_mass_there_are_no_shares():
    with pytest.raises(ValueError, match=r"mass_kg: expected more than 0, got 0"):
        shares(100.0, 400.0, mass_kg=0.0)


def test_left_and_right_differ_with_an_uncertainty_of_their_own():
    z = np.random.default_rng(12).standard_normal((2, 400_000))
    left, right = 60.0 + 1.0 * z[0], 50.0 + 2.0 * z[1]

    found = side(60.0, 50.0, u_first_n=1.0, u_second_n=2.0)

    assert found.difference_n == 10.0
    assert found.u_difference_n == pytest.approx((left - right).std(), rel=0.006)
    assert found.u_fraction == pytest.approx(((left - right) / (left + right)).std(), rel=0.006)
    assert found.clear
    assert not side(51.0, 50.0, u_first_n=1.0, u_second_n=2.0).clear


def test_hands_off_the_bar_have_no_sides():
    assert math.isnan(side(0.0, 0.0, u_first_n=1.0, u_second_n=1.0).fraction)


def test_the_load_point_is_where_one_force_would_balance_the_cells():
    cells, x = np.array([100.0, 300.0]), np.array([-0.10, -0.26])

    assert load_point_m(cells, x) == pytest.approx(-0.22)
    assert math.isnan(load_point_m(np.zeros(2), x))
