"""Counters of a crank followed over roll-overs, pauses, losses and restarts. The expected numbers are arithmetic on the
field sizes: 16 bits, 1/1024 s, 1/32 N m."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.physics import crank_torque_nm
from daq.values import PowerReading
from daq.wire.crank import Crank, CrankFollower
from daq.wire.cycling_power import decode_power, to_power_reading


def reading(revs, time_s, *, received_s=None, power_w=200.0, torque_nm=None):
    """What a sensor would send whose true counters are these."""
    return PowerReading(
        source="power",
        received_us=round((time_s if received_s is None else received_s) * 1e6),
        power_w=power_w,
        crank_revs=revs % 65536,
        crank_time_1024=round(time_s * 1024) % 65536,
        torque_total_32=None if torque_nm is None else round(torque_nm * 32) % 65536,
    )


def followed(*readings):
    follower = CrankFollower()
    return [follower.feed(item) for item in readings]


def test_the_published_roll_over_is_ninety_and_a_bit_rpm():
    """Vectors V10 and V11: one revolution in 682/1024 s, 90.09 rpm."""
    frames = [bytes.fromhex("2000c800ffff00ff"), bytes.fromhex("2000c8000000aa01")]
    readings = [to_power_reading(decode_power(x), source="p", received_us=i * 666_000) for i, x in enumerate(frames)]

    first, second = followed(*readings)

    assert first == Crank()
    assert second.revolutions == 1
    assert second.cadence_rpm == pytest.approx(60 * 1024 / 682)
    assert round(second.cadence_rpm, 2) == 90.09


@pytest.mark.parametrize(
    ("power_w", "rpm", "torque_nm"),
    [(100, 60, 15.915), (200, 60, 31.831), (200, 90, 21.221), (300, 90, 31.831), (-50, 90, -5.305)],
)
def test_torque_from_power_is_power_over_angular_speed(power_w, rpm, torque_nm):
    assert crank_torque_nm(power_w, rpm) == pytest.approx(power_w / (rpm * 2 * math.pi / 60), rel=1e-12)
    assert crank_torque_nm(power_w, rpm) == pytest.approx(torque_nm, abs=5e-4)


def test_a_sensor_that_sends_torque_is_believed_over_its_power():
    _, second = followed(reading(10, 5.0, torque_nm=100.0), reading(12, 6.5, torque_nm=150.0, power_w=999.0))

    assert second.torque_nm == pytest.approx(25.0)
    assert second.cadence_rpm == pytest.approx(80.0)


def test_accumulated_torque_rolls_over_and_may_fall():
    _, over, fell = followed(
        reading(1, 1.0, torque_nm=2040.0), reading(2, 2.0, torque_nm=2060.0), reading(3, 3.0, torque_nm=2054.0)
    )

    assert over.torque_nm == pytest.approx(20.0)
    assert fell.torque_nm == pytest.approx(-6.0)


def test_the_same_event_again_is_no_revolution_and_no_second_event():
    _, second, third = followed(reading(1, 1.0), reading(2, 1.75), reading(2, 1.75, received_s=2.1))

    assert len(second.event_s) == 1
    assert third.event_s == ()
    assert third.revolutions == second.revolutions == 1
    assert third.cadence_rpm == second.cadence_rpm == pytest.approx(80.0)


def test_cadence_falls_to_nought_by_time_out_and_torque_becomes_unknown():
    *_, standing = followed(reading(1, 1.0), reading(2, 1.75), reading(2, 1.75, received_s=4.8))

    assert standing.cadence_rpm == 0.0
    assert standing.torque_nm is None


def test_several_revolutions_in_one_notification_are_spread_evenly():
    _, second = followed(reading(1, 1.0), reading(4, 3.25))

    assert second.event_s == pytest.approx((1.75, 2.5, 3.25))


@pytest.mark.parametrize("pause_s", [70.0, 130.0, 3600.0])
def test_a_pause_longer_than_the_sensors_clock_is_told_by_the_hosts(pause_s):
    first, second = reading(1, 1.0, received_s=1.2), reading(2, 1.0 + pause_s, received_s=1.9 + pause_s)

    _, after = followed(first, second)

    assert after.event_s == pytest.approx((1.0 + pause_s,), abs=1e-3)
    assert after.cadence_rpm is None


def test_a_minute_without_the_link_gives_one_event_and_no_cadence():
    _, after, then = followed(reading(1, 1.0), reading(91, 61.0), reading(92, 61.75))

    assert after.revolutions == 90
    assert after.event_s == pytest.approx((61.0,))
    assert (after.cadence_rpm, after.torque_nm) == (None, None)
    assert then.cadence_rpm == pytest.approx(80.0)


@pytest.mark.parametrize("restarted", [reading(0, 0.0, received_s=3.0), reading(500, 1.75, received_s=3.0)])
def test_a_sensor_that_restarts_brings_no_false_revolutions(restarted):
    follower = CrankFollower()
    before = [follower.feed(item) for item in (reading(300, 1.0), reading(301, 1.75))][-1]

    at = follower.feed(restarted)
    revs = restarted.crank_revs
    after = follower.feed(reading(revs + 1, restarted.crank_time_1024 / 1024 + 0.75, received_s=3.75))

    assert at.revolutions == before.revolutions == 1
    assert at.event_s == ()
    assert after.revolutions == 2
    assert after.event_s[0] > before.event_s[0]
    assert after.cadence_rpm == pytest.approx(80.0)


def test_a_sensor_whose_event_time_runs_on_without_revolutions_is_not_followed_into_it():
    _, idle, after = followed(reading(5, 1.0), reading(5, 1.5), reading(6, 1.75))

    assert idle.event_s == ()
    assert after.cadence_rpm == pytest.approx(80.0)


def test_a_sensor_with_a_cadence_of_its_own_gives_torque_but_no_events():
    (crank,) = followed(PowerReading("bike", 0, power_w=200.0, cadence_rpm=90.0))

    assert crank.event_s == ()
    assert crank.torque_nm == pytest.approx(crank_torque_nm(200.0, 90.0))


@pytest.mark.parametrize(
    "bare", [PowerReading("p", 0, power_w=200.0), PowerReading("p", 0, power_w=0.0, cadence_rpm=0.0)]
)
def test_power_without_a_turning_crank_has_no_torque(bare):
    (crank,) = followed(bare)

    assert crank.torque_nm is None


@given(
    st.lists(st.floats(0.3, 2.5), min_size=1, max_size=200),
    st.integers(0, 65535),
    st.floats(0, 64),
    st.lists(st.floats(0, 0.9), min_size=200, max_size=200),
)
def test_a_ride_is_followed_revolution_by_revolution(durations_s, first_rev, first_s, late_s):
    times_s = [first_s]
    for duration_s in durations_s:
        times_s.append(times_s[-1] + round(duration_s * 1024) / 1024)
    sent = [
        reading(first_rev + i, t, received_s=t + late) for i, (t, late) in enumerate(zip(times_s, late_s, strict=False))
    ]

    cranks = followed(*sent)

    events = [event for crank in cranks for event in crank.event_s]
    assert [crank.revolutions for crank in cranks] == list(range(len(sent)))
    start = sent[0].crank_time_1024 / 1024
    assert events == pytest.approx([start + t - times_s[0] for t in times_s[1 : len(sent)]], abs=2e-3)


def test_a_revolution_in_no_time_is_a_sensor_set_anew():
    first, again, then = followed(reading(1, 1.0), reading(2, 1.0), reading(3, 1.5))

    assert (first, again) == (Crank(), Crank())
    assert then.cadence_rpm == pytest.approx(120.0)
