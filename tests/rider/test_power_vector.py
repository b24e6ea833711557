from dataclasses import replace

import numpy as np
import pytest

from daq.measure.turn_torque import torque_over_turn
from daq.rider.jig import SimulatedJig
from daq.rider.model import DEMO
from daq.rider.power_vector import SAMPLES_AT_ONCE, VectorSensor
from daq.wire.cycling_power_vector import PowerVector, decode_vector, encode_vector
from tests.rider.legs import leg_torque

STEADY = replace(DEMO, cadence_wander_rpm=0.0, power_wander_w=0.0, torque_phase_deg_per_10mm=0.0)


def ridden(model=STEADY, setback_mm=55.0, seconds=90.0):
    jig = SimulatedJig(model, rng=np.random.default_rng(1))
    jig.set_setback(setback_mm)
    return jig.advance(seconds)


def heard(block, sensor):
    """Angle, torque and turn of every sample, through the bytes of the characteristic."""
    angles, torques = [], []
    for notice in sensor.run(block):
        sent = encode_vector(PowerVector(first_angle_deg=notice.first_angle_deg, torque_32=notice.torque_32))
        vector = decode_vector(sent)
        torques.append(np.array(vector.torque_32) / 32.0)
        angles.append(vector.first_angle_deg + np.arange(len(vector.torque_32)) * 6.0 * 90.0 / sensor.samples_hz)
    n = sum(map(len, angles))
    turn = np.floor(np.arange(n) / sensor.samples_hz * 1.5).astype(np.int64)
    return np.concatenate(angles), np.concatenate(torques), turn


def test_the_torque_over_the_turn_comes_through_the_bytes():
    found = torque_over_turn(*heard(ridden(), VectorSensor()), both_legs=False)

    known = np.isfinite(found.torque_nm)
    expected = 0.5 * STEADY.torque_nm * leg_torque(found.angle_deg[known])
    # within a bin of 15 degrees the torque changes by up to 2.6 N m; half of it, and the scatter of strokes
    assert known.sum() >= 12
    assert np.abs(found.torque_nm[known] - expected).max() < 2.0
    assert found.mean_nm == pytest.approx(0.5 * STEADY.torque_nm, rel=0.05)


def test_a_push_over_the_top_that_weakens_going_back_is_seen_in_one_leg():
    model = replace(STEADY, top_weakening_per_10mm=0.10)
    fore, aft = (
        torque_over_turn(*heard(ridden(model, setback_mm), VectorSensor(24.0)), both_legs=False).top
        for setback_mm in (30.0, 80.0)
    )

    assert fore[0] - aft[0] > 4.0 * np.hypot(fore[1], aft[1])


def test_the_same_ride_in_pieces_gives_the_same_notifications():
    whole = VectorSensor().run(ridden(seconds=20.0))
    jig, sensor = SimulatedJig(STEADY, rng=np.random.default_rng(1)), VectorSensor()
    jig.set_setback(55.0)

    pieces = [notice for _ in range(2000) for notice in sensor.run(jig.advance(0.01))]

    assert tuple(pieces) == whole
    assert all(len(notice.torque_32) == SAMPLES_AT_ONCE for notice in whole)
    assert len(whole) == 20 * 20 // SAMPLES_AT_ONCE
