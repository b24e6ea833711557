import itertools
import math

import numpy as np
import pytest

from daq.measure.stroke import StrokeCutter
from daq.values import Loads, Status
from tests.bits import bits

RATE_HZ = 100.0


def ride(seconds, *, cadence_rpm=90.0, amplitude_n=30.0, mean_n=80.0, marks=True, tilt_deg=0.0, start_s=0.0):
    """Loads with a twice-per-turn ripple and a crank mark at each top of the stroke."""
    t_s = start_s + np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    turns = t_s * cadence_rpm / 60.0
    hands_n = mean_n + amplitude_n * np.cos(4.0 * np.pi * turns)
    status = np.zeros(len(t_s), dtype=np.uint8)
    if marks:
        status[np.flatnonzero(np.floor(turns[1:] + 1e-9) > np.floor(turns[:-1] + 1e-9)) + 1] = Status.CRANK_MARK
    saddle_n = 430.0 - 0.5 * amplitude_n * np.cos(4.0 * np.pi * turns)
    return Loads(t_s, hands_n, saddle_n, np.full(len(t_s), tilt_deg), np.column_stack([hands_n, saddle_n]), status)


def cut(loads, start, stop):
    return Loads(*(getattr(loads, name)[start:stop] for name in Loads.__slots__))


def test_a_whole_stroke_carries_no_ripple():
    strokes = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665).feed_loads(ride(10.0))

    # 13 whole strokes of 66 or 67 scans; a mark is good to one scan of 66.7, so at most A / 67 of ripple is left
    assert len(strokes) == 13
    assert all(abs(stroke.hands_n - 80.0) < 30.0 / 67 for stroke in strokes)
    assert np.mean([stroke.cadence_rpm for stroke in strokes]) == pytest.approx(90.0, rel=0.01)


def test_feet_are_what_the_weight_leaves_along_the_jig_normal():
    (stroke, *_) = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665).feed_loads(ride(5.0, tilt_deg=2.8624052261))

    # 75 kg at 5 %: 734.581 N along the normal, from the gradient table's cosine 0.998752338878
    assert stroke.hands_n + stroke.saddle_n + stroke.feet_n == pytest.approx(734.581, abs=0.001)


def test_without_the_riders_mass_the_feet_are_unknown():
    (stroke, *_) = StrokeCutter(mass_kg=None, g_m_s2=9.80665).feed_loads(ride(5.0))

    assert math.isnan(stroke.feet_n)


def test_the_same_scans_in_any_pieces_give_the_same_strokes():
    loads = ride(10.0)
    whole = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665).feed_loads(loads)
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cuts = [0, 1, 2, 10, 333, 334, 700, 999, 1000]

    pieces = [s for a, b in itertools.pairwise(cuts) for s in cutter.feed_loads(cut(loads, a, b))]

    assert bits(pieces) == bits(whole)


def test_power_becomes_the_torque_of_the_stroke():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_power(0.5, 200.0)

    (stroke, *_) = cutter.feed_loads(ride(3.0))

    # Q = 60 P / (2 pi n): 200 W at 90 rpm is 21.22 N m
    assert stroke.crank_torque_nm == pytest.approx(200.0 * 60.0 / (2.0 * math.pi * 90.0), rel=0.02)


def test_a_torque_the_sensor_measures_itself_is_taken_as_it_is():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_power(0.5, 200.0, 25.0)

    (stroke, *_) = cutter.feed_loads(ride(3.0))

    assert (stroke.power_w, stroke.crank_torque_nm) == (200.0, 25.0)


def test_an_old_power_reading_says_nothing():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_power(0.5, 200.0)

    strokes = cutter.feed_loads(ride(10.0))

    assert math.isnan(strokes[-1].crank_torque_nm)
    assert not math.isnan(strokes[0].crank_torque_nm)


def test_a_rig_without_a_crank_mark_is_cut_at_the_sensors_crank_events():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_loads(ride(4.0, marks=False))
    cutter.feed_turns([1.0, 1.6667, 2.3333], told_by="power")

    strokes = cutter.feed_loads(ride(1.0, marks=False, start_s=4.0))

    assert [stroke.start_s for stroke in strokes] == [1.0, 1.6667]
    assert strokes[0].hands_n == pytest.approx(80.0, abs=30.0 / 66)


def test_a_crank_event_ahead_of_the_loads_waits_for_them():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_loads(ride(1.0, marks=False))
    cutter.feed_turns([0.5, 1.1667], told_by="power")

    assert cutter.feed_loads(ride(0.1, marks=False, start_s=1.0)) == []
    assert len(cutter.feed_loads(ride(0.3, marks=False, start_s=1.1))) == 1


def test_no_stroke_spans_a_change_of_who_tells_the_turns():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_turns([0.5, 1.1667], told_by="power")
    cutter.feed_loads(ride(1.3, marks=False))
    cutter.feed_turns([1.5, 2.1667], told_by="ripple")

    strokes = cutter.feed_loads(ride(2.0, marks=False, start_s=1.3))

    assert [stroke.start_s for stroke in strokes] == [1.5]


def test_a_stop_is_not_a_stroke():
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    first = cutter.feed_loads(ride(2.0))
    after = cutter.feed_loads(ride(2.0, start_s=30.0))

    assert all(stroke.end_s - stroke.start_s < 1.0 for stroke in first + after)


def test_a_bouncing_mark_does_not_cut_a_stroke_in_two():
    loads = ride(5.0)
    marks = np.flatnonzero(loads.status)
    loads.status[marks + 1] = Status.CRANK_MARK

    strokes = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665).feed_loads(loads)

    assert len(strokes) == len(marks) - 1
    assert min(stroke.scans for stroke in strokes) > 60


@pytest.mark.parametrize("marks", [True, False])
def test_no_stroke_rests_on_what_is_left_of_lost_scans(marks):
    loads = ride(12.0, marks=marks)
    turns_s = [i / 1.5 for i in range(18)]
    cutter = StrokeCutter(mass_kg=75.0, g_m_s2=9.80665)
    cutter.feed_turns(turns_s, told_by="power")
    before = cutter.feed_loads(cut(loads, 0, 500))
    cutter.pass_over(5.0, 6.2)
    after = cutter.feed_loads(cut(loads, 620, 1200))

    assert all(stroke.end_s <= 5.0 or stroke.start_s >= 6.2 for stroke in before + after)
    assert len(after) >= 7
    assert all(abs(stroke.hands_n - 80.0) < 0.5 for stroke in after)
