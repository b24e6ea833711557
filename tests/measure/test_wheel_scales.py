"""Two scales under the wheels cannot show the onset: they see the body's centre of mass, not how its weight is shared.

By statics, from the forces on the bicycle: hands, saddle, feet and its own weight, moments about the rear wheel's
contact. The other road is the weight line of daq.measure.bicycle.
"""

import numpy as np
import pytest

from daq.measure.bicycle import Bicycle, front_share
from daq.physics import STANDARD_G_M_S2
from daq.rider.budget import budget, posture
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO
from daq.rider.statics import supports

SETBACK_MM = 55.0
BICYCLE = Bicycle(1.0, 0.41, 0.07, 0.34, 8.0, 0.17, 0.35)
"""A road bicycle's usual sizes and mass. From memory."""
KITCHEN_SCALE_KG = 0.1
"""The finest step of a usual bathroom scale. From memory."""


def carried_by(hands_n):
    """The same rider in the same posture, whose hands carry this much and whose saddle carries the rest."""
    at = posture(DEMO, JigGeometry(), SETBACK_MM, 0.0)
    budgeted, torque_nm = budget(DEMO, JigGeometry()), np.array(DEMO.torque_nm)
    own_n = float(budgeted.hands_n(at, torque_nm))
    return supports(budgeted, at, torque_nm, hands_n - own_n), at


def front_by_forces(s, at):
    """Front wheel's share, from what hands, saddle and feet press onto the bicycle."""
    rear_m, bb_m = BICYCLE.rear_m, BICYCLE.bb_height_m
    x_h, y_h = at.grip_m
    moment = (x_h + rear_m) * s.hands_n - (y_h + bb_m) * s.hands_tangential_n
    moment += (s.saddle_x_m + rear_m) * s.saddle_n - (at.saddle_top_m + bb_m) * s.saddle_tangential_n
    moment += rear_m * s.feet_n - bb_m * s.feet_tangential_n + s.torque_nm
    moment += BICYCLE.mass_kg * STANDARD_G_M_S2 * (BICYCLE.com_x_m + rear_m)
    weight_n = s.hands_n + s.saddle_n + s.feet_n + BICYCLE.mass_kg * STANDARD_G_M_S2
    return float(moment / (BICYCLE.wheelbase_m * weight_n))


@pytest.mark.parametrize("hands_n", [90.0, 123.0])
def test_the_wheels_share_from_the_contact_forces_is_that_of_the_weight_line(hands_n):
    s, at = carried_by(hands_n)
    found = front_share(BICYCLE, mass_kg=DEMO.body.mass_kg, weight_line_m=at.weight_line_m)

    assert float(s.hands_n) == pytest.approx(hands_n)
    assert front_by_forces(s, at) == pytest.approx(found.fraction, abs=1e-9)


def test_a_third_more_on_the_hands_changes_no_wheel_scale():
    light, loaded = (front_by_forces(*carried_by(hands_n)) for hands_n in (90.0, 123.0))
    both_kg = DEMO.body.mass_kg + BICYCLE.mass_kg

    # internal sharing cannot change it; 0.01 points is what a body that leans by a tenth of a millimetre would
    assert abs(100.0 * (loaded - light)) < 0.01
    assert abs(loaded - light) * both_kg < KITCHEN_SCALE_KG / 10


def test_the_saddle_moved_by_a_step_changes_it_whatever_the_hands_do():
    """So two scales show every move of the saddle, and nothing of the onset."""
    geometry, torque_nm = JigGeometry(), np.array(DEMO.torque_nm)
    shares = []
    for setback_mm in (60.0, 55.0, 50.0, 45.0):
        at = posture(DEMO, geometry, setback_mm, 0.0)
        shares.append(front_by_forces(supports(budget(DEMO, geometry), at, torque_nm, 0.0), at))
    steps = np.diff(shares)

    # the demo's rider begins to load the hands inside this range; the share goes on in a straight line
    assert steps == pytest.approx(np.full(3, steps.mean()), rel=0.03)
