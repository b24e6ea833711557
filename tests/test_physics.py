import math

import numpy as np
import pytest

from daq.physics import crank_torque_nm, power_w, weight_normal_n


@pytest.mark.parametrize(
    ("watts", "cadence_rpm", "torque_nm"), [(200.0, 90.0, 21.2207), (100.0, 60.0, 15.9155), (0.0, 90.0, 0.0)]
)
def test_torque_is_power_over_the_angular_speed_and_power_torque_times_it(watts, cadence_rpm, torque_nm):
    """P = Q omega; 200 W at 9.42478 rad/s."""
    assert crank_torque_nm(watts, cadence_rpm) == pytest.approx(torque_nm, abs=5e-5)
    assert power_w(torque_nm, cadence_rpm) == pytest.approx(watts, abs=5e-4)


@pytest.mark.parametrize("cadence_rpm", [0.0, math.nan])
def test_a_standing_or_unknown_crank_has_no_known_torque(cadence_rpm):
    assert math.isnan(crank_torque_nm(0.0, cadence_rpm))


def test_torques_of_many_efforts_are_those_of_each():
    found = crank_torque_nm(np.array([200.0, 100.0, 50.0]), np.array([90.0, 60.0, 0.0]))

    assert found[:2] == pytest.approx([21.2207, 15.9155], abs=5e-5)
    assert np.isnan(found[2])


def test_a_tilt_not_measured_counts_as_level():
    assert weight_normal_n(75.0, math.nan) == pytest.approx(735.499, abs=5e-4)
