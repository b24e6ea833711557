import numpy as np
import pytest

from daq.measure.bicycle import Bicycle, SeatMount, front_share, front_share_per_10mm, reachable, weight_line_at

BICYCLE = Bicycle(0.99, 0.41, 0.07, 0.335, 8.0, 0.10, 0.25)
G_M_S2 = 9.80665


def wheel_loads(gradient_pct, com_m, mass_kg=75.0):
    """Normal loads of both wheels by solving the free body of rider and bicycle, forces and moments as vectors."""
    t = np.arctan(gradient_pct / 100.0)
    down = np.array([-np.sin(t), -np.cos(t)]) * G_M_S2
    rear = np.array([-BICYCLE.rear_m, -BICYCLE.bb_height_m])
    front = rear + np.array([BICYCLE.wheelbase_m, 0.0])
    weights = [(np.array(com_m), mass_kg * down), (np.array([0.10, 0.25]), 8.0 * down)]
    force = sum(w for _, w in weights)
    moment = sum(p[0] * w[1] - p[1] * w[0] for p, w in weights)
    # unknowns: rear normal, front normal, friction along the road (at the rear; its line passes both contacts)
    matrix = np.array([[0.0, 0.0, 1.0], [1.0, 1.0, 0.0], [rear[0], front[0], -rear[1]]])
    return np.linalg.solve(matrix, [-force[0], -force[1], -moment])[:2]


@pytest.mark.parametrize("gradient_pct", [-5.0, 0.0, 4.0, 5.0, 15.0])
def test_the_front_share_is_that_of_the_free_body(gradient_pct):
    x_c, y_c = 0.02, 0.83
    rear_n, front_n = wheel_loads(gradient_pct, (x_c, y_c))
    line_m = x_c - y_c * gradient_pct / 100.0

    found = front_share(
        BICYCLE, mass_kg=75.0, weight_line_m=line_m, tilt_deg=np.degrees(np.arctan(gradient_pct / 100.0))
    )

    assert found.fraction == pytest.approx(front_n / (rear_n + front_n), abs=1e-12)


def test_a_gradient_takes_load_off_the_front_wheel_as_usual():
    """About 44 % flat, 40 % at 4 %, 39 % at 5 % for a road bicycle; common practice, no source."""
    shares = [
        front_share(
            BICYCLE,
            mass_kg=75.0,
            weight_line_m=weight_line_at(0.02, 0.83, from_tilt_deg=0.0, to_tilt_deg=tilt),
            tilt_deg=tilt,
        ).fraction
        for tilt in (0.0, 2.2906100426, 2.8624052261)
    ]

    assert shares == pytest.approx([0.44, 0.40, 0.39], abs=0.015)


def test_ten_millimetres_of_weight_line_are_about_nine_tenths_of_a_point():
    found = front_share(BICYCLE, mass_kg=75.0, weight_line_m=0.005, u_weight_line_m=0.010)

    assert 100.0 * found.u_fraction == pytest.approx(0.9, abs=0.05)
    assert found.interval_95[1] - found.interval_95[0] == pytest.approx(2 * 1.96 * found.u_fraction)


def test_ten_millimetres_further_back_cost_six_to_eight_tenths_of_a_point():
    assert -0.8 < 100.0 * front_share_per_10mm(BICYCLE, mass_kg=75.0) < -0.6


def test_a_bicycle_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match=r"bicycle.mass_kg: expected 3 to 60, got 0"):
        Bicycle(0.99, 0.41, 0.07, 0.335, 0.0, 0.10, 0.25)


MOUNT = SeatMount(73.5, 20.0, 45.0, 100.0, 150.0)


def test_the_reachable_setbacks_by_hand():
    """Clamp 655 mm up: 655 / tan 73.5 + 20 / sin 73.5 = 194.02 + 20.86 = 214.88 mm back; less 150 and less 100."""
    found = reachable(MOUNT, setback_mm=90.0, saddle_height_mm=700.0)

    assert found.reachable
    assert (found.foremost_mm, found.rearmost_mm) == pytest.approx((64.88, 114.88), abs=0.02)


def test_a_post_with_the_named_offset_makes_it_reachable():
    found = reachable(MOUNT, setback_mm=130.0, saddle_height_mm=700.0)
    offset_mm = MOUNT.post_offset_mm + found.short_mm * np.sin(np.radians(73.5))

    assert not found.reachable
    assert found.short_mm == pytest.approx(15.12, abs=0.02)
    assert f"a post with {offset_mm:.0f} mm of rearward offset" in found.text
    assert "15 mm further back" in found.text
    assert reachable(
        SeatMount(73.5, offset_mm + 1e-9, 45.0, 100.0, 150.0), setback_mm=130.0, saddle_height_mm=700.0
    ).reachable


def test_too_far_forward_is_said_too():
    found = reachable(MOUNT, setback_mm=50.0, saddle_height_mm=700.0)

    assert found.short_mm < 0.0
    assert "further forward" in found.text


@pytest.mark.parametrize(
    ("setback_mm", "said"), [(44.0, "a post with no offset or"), (30.0, "a post with 13 mm of forward offset or")]
)
def test_the_offset_of_the_post_that_would_help_says_which_way(setback_mm, said):
    """By hand: foremost 64.88 mm with 20 mm of offset; 20.88 and 34.88 mm less, times sin 73.5, are 20 and 33 mm."""
    assert said in reachable(MOUNT, setback_mm=setback_mm, saddle_height_mm=700.0).text


def test_rails_the_wrong_way_round_are_refused():
    with pytest.raises(ValueError, match="reference_to_rails_rear_mm"):
        SeatMount(73.5, 20.0, 45.0, 150.0, 100.0)
