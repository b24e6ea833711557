import numpy as np
import pytest

from daq.rider.pedalling import SimulatedCrank, both_legs_ripple
from daq.rider.power_sensor import PowerSensor
from daq.values import PowerReading
from daq.wire.crank import CrankFollower
from tests.rider.legs import leg_torque

DT_S = 0.01
FULL_TURN = np.arange(0.0, 360.0, 0.25)


def ride(seconds, cadence_rpm=90.0, torque_nm=20.0, **settings):
    n = round(seconds / DT_S)
    t_s = np.arange(n) * DT_S
    settings = {"phase_deg": 0.0, "depth": 1.0, **settings}
    return t_s, SimulatedCrank(DT_S).run(np.full(n, cadence_rpm), np.full(n, torque_nm), np.zeros(n), **settings)


def test_one_leg_pushes_hardest_near_horizontal_and_pulls_little_on_the_way_up():
    """Peak of the normal pedal force at 90-97 degrees: Kautz et al. 1991, group means."""
    torque = leg_torque(FULL_TURN)

    assert FULL_TURN[np.argmax(torque)] == pytest.approx(93.5, abs=6.0)
    assert torque.mean() == pytest.approx(1.0, abs=1e-12)
    assert torque[FULL_TURN > 200.0].max() < 0.5


def test_two_legs_half_a_turn_apart_leave_the_even_harmonics():
    both = 0.5 * (leg_torque(FULL_TURN) + leg_torque((FULL_TURN + 180.0) % 360.0))

    assert both == pytest.approx(1.0 + both_legs_ripple(FULL_TURN), abs=1e-12)


def test_work_over_whole_turns_is_mean_torque_times_the_angle():
    t_s, turned = ride(20.0)
    marks = np.flatnonzero(turned.mark)

    per_turn_j = np.diff(turned.work_at_top_j[marks])

    # the ripple averages out over a turn but for its sampling at 67 scans a turn
    assert per_turn_j == pytest.approx(np.full(len(marks) - 1, 2.0 * np.pi * 20.0), rel=1e-3)
    assert np.diff(t_s[marks] - turned.since_top_s[marks]) == pytest.approx(np.full(len(marks) - 1, 60.0 / 90.0))


def test_the_phase_moves_the_torque_later_in_the_turn():
    _, now = ride(10.0)
    _, later = ride(10.0, phase_deg=10.0)
    second = [np.angle(np.mean(x.ripple_nm * np.exp(-2j * np.radians(x.crank_deg)))) for x in (now, later)]

    assert np.degrees(second[0] - second[1]) / 2.0 == pytest.approx(10.0, abs=0.2)


@pytest.mark.parametrize("notices_per_s", [1.0, 4.0])
def test_a_receiver_finds_power_cadence_and_torque_in_the_notifications(notices_per_s):
    t_s, turned = ride(60.0, cadence_rpm=84.0, torque_nm=25.0)
    notices = PowerSensor(1.0 / notices_per_s, DT_S).run(t_s, turned)
    follower = CrankFollower()
    heard = [
        follower.feed(
            PowerReading(
                "power",
                round(n.t_s * 1e6),
                n.power_w,
                crank_revs=n.crank_revs,
                crank_time_1024=n.crank_time_1024,
                torque_total_32=n.torque_total_32,
            )
        )
        for n in notices
    ]

    told = [crank.torque_nm for crank in heard if crank.torque_nm is not None]
    assert len(notices) == pytest.approx(60 * notices_per_s, abs=1)
    assert np.mean(told) == pytest.approx(25.0, abs=0.05)
    # 25 N m at 84 rpm, P = 2 pi n Q / 60
    assert notices[-1].power_w == pytest.approx(219.9, abs=1.0)
    assert np.diff([e for c in heard for e in c.event_s]) == pytest.approx(60.0 / 84.0, abs=2.0 / 1024.0)


def test_a_sensor_whose_crank_stands_comes_to_zero():
    sensor = PowerSensor(1.0, DT_S)
    t_s, turned = ride(5.0)
    sensor.run(t_s, turned)
    n = 600
    still = SimulatedCrank(DT_S).run(np.zeros(n), np.zeros(n), np.zeros(n), phase_deg=0.0, depth=1.0)

    powers = [notice.power_w for notice in sensor.run(5.0 + np.arange(n) * DT_S, still)]

    assert powers[0] > 150
    assert powers[-1] == 0
