"""Device clocks in session time. The truth is made here: a device clock of known offset and drift, known delays."""

import numpy as np
import pytest

from daq.measure.clock import BoardClock, SensorClock
from daq.measure.envelope import line_under, lower_hull
from daq.values import Samples, cut

WRAP = 2**32


def samples_of(device_us, received_us):
    n = len(device_us)
    return Samples(
        source="jig",
        received_us=np.asarray(received_us, dtype=np.int64),
        ticks_us=(np.asarray(device_us, dtype=np.int64) % WRAP).astype(np.uint32),
        sequence=np.zeros(n, np.uint16),
        status=np.zeros(n, np.uint8),
        counts=np.zeros((n, 1), np.int32),
    )


def part(samples, begin, end):
    return cut(samples, slice(begin, end))


def usb(true_s, rng, *, drift=0.0, offset_us=0):
    """A board on USB: its microframe of 125 us, now and then a busy host."""
    n = len(true_s)
    delay_s = 125e-6 * rng.random(n) + (rng.random(n) < 0.02) * rng.exponential(3e-3, n)
    received_us = np.maximum.accumulate(np.rint((true_s + delay_s) * 1e6).astype(np.int64))
    return samples_of(np.rint(true_s * (1.0 + drift) * 1e6).astype(np.int64) + offset_us, received_us)


def test_a_line_under_points_is_found_exactly_when_three_of_them_lie_on_it():
    points = [(0.0, 1.0), (1.0, 1.5), (2.0, 1.0002), (3.0, 9.0), (4.0, 1.0004)]

    delay_s, drift = line_under(points)

    assert delay_s == pytest.approx(1.0, abs=1e-12)
    assert drift == pytest.approx(1e-4, rel=1e-9)


def test_the_hull_agrees_with_a_general_library():
    from scipy.spatial import ConvexHull

    points = np.random.default_rng(1).random((200, 2))
    points = points[points[:, 0].argsort()]

    hull = lower_hull([(float(x), float(y)) for x, y in points])

    corners = points[ConvexHull(points).vertices]
    left, right = points[0], points[-1]
    chord = left[1] + (corners[:, 0] - left[0]) * (right[1] - left[1]) / (right[0] - left[0])
    below = corners[corners[:, 1] <= chord + 1e-12]
    assert hull == [tuple(corner) for corner in below[below[:, 0].argsort()].tolist()]


def test_the_line_minimises_the_mean_distance_as_a_linear_programme_does():
    """Moon, Skelly and Towsley 1999 pose the line as a linear programme; scipy's solver is the other road."""
    from scipy.optimize import linprog

    rng = np.random.default_rng(2)
    x = np.sort(rng.random(60)) * 100.0
    y = 30e-6 * x + rng.exponential(1e-3, 60)
    bounds = [(None, None), (-200e-6, 200e-6)]
    best = linprog([-1.0, -x.mean()], A_ub=np.column_stack([np.ones(60), x]), b_ub=y, bounds=bounds)

    delay_s, drift = line_under(list(zip(x.tolist(), y.tolist(), strict=True)))

    assert delay_s == pytest.approx(best.x[0], abs=1e-9)
    assert drift == pytest.approx(best.x[1], abs=1e-10)


@pytest.mark.parametrize("drift", [-100e-6, 20e-6, 100e-6])
def test_board_time_follows_the_session_within_the_error_it_states(drift):
    true_s = 3.0 + np.arange(120_000) * 1e-3
    clock = BoardClock()

    t_s = clock.feed(usb(true_s, np.random.default_rng(4), drift=drift, offset_us=3_600_000_000))

    settled = slice(10_000, None)
    assert np.abs(t_s - true_s)[settled].max() < 0.2e-3  # science of the links: USB within 0.2 ms
    assert np.abs(t_s - true_s)[-1000:].max() * 1e3 < clock.error_ms


def test_the_stated_error_covers_the_true_one_about_nineteen_times_in_twenty():
    covered = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        true_s = np.cumsum(np.full(600, 0.1))
        delay_s = 0.016 * rng.random(600)  # a serial bridge that hands on every 16 ms
        received_us = np.maximum.accumulate(np.rint((true_s + delay_s) * 1e6).astype(np.int64))
        clock = BoardClock()
        t_s = clock.feed(samples_of(np.rint(true_s * (1 + 50e-6) * 1e6).astype(np.int64), received_us))
        covered.append(abs(t_s[-1] - true_s[-1]) * 1e3 < clock.error_ms)

    assert np.mean(covered) >= 0.85


def test_an_error_asked_for_on_the_way_and_one_asked_for_at_the_end_are_the_same():
    whole = usb(3.0 + np.arange(40_000) * 1e-3, np.random.default_rng(6), drift=20e-6)
    asked, left = BoardClock(), BoardClock()
    on_the_way = []
    for begin in range(0, 40_000, 1000):
        asked.feed(part(whole, begin, begin + 1000))
        left.feed(part(whole, begin, begin + 1000))
        on_the_way.append(asked.error_ms)

    assert on_the_way[0] is None
    assert on_the_way[10] != on_the_way[-1] == left.error_ms


def test_the_same_scans_cut_differently_have_the_same_times_bit_for_bit():
    rng = np.random.default_rng(5)
    true_s = np.sort(rng.random(20_000)) * 30.0
    samples = usb(true_s, rng, drift=80e-6, offset_us=WRAP - 10_000_000)
    whole = BoardClock().feed(samples)

    for longest in (1, 7, 500, 5000):
        clock, begin, pieces = BoardClock(), 0, []
        while begin < len(samples):
            end = begin + int(rng.integers(1, longest + 1))
            pieces.append(clock.feed(part(samples, begin, end)))
            begin = end
        assert np.array_equal(np.concatenate(pieces), whole)


def rebooted(rng):
    before, after = 2.0 + np.arange(15_000) * 1e-3, 20.0 + np.arange(15_000) * 1e-3
    first, second = usb(before, rng, offset_us=700_000_000), usb(after, rng, offset_us=-19_500_000)
    return np.concatenate([before, after]), joined(first, second)


def slept(rng):
    """The host sleeps for an hour and its clock with it; the board goes on."""
    before, after = 2.0 + np.arange(15_000) * 1e-3, 17.5 + np.arange(15_000) * 1e-3
    first, second = usb(before, rng), usb(after, rng, offset_us=3_600_000_000)
    return np.concatenate([before, after]), joined(first, second)


def joined(a, b):
    both = ((getattr(a, x), getattr(b, x)) for x in ("received_us", "ticks_us", "sequence", "status", "counts"))
    return Samples(a.source, *(np.concatenate(pair) for pair in both))


@pytest.mark.parametrize("story", [rebooted, slept])
def test_a_clock_that_begins_anew_is_noticed_and_time_goes_on(story):
    true_s, samples = story(np.random.default_rng(6))
    clock = BoardClock()

    t_s = clock.feed(samples)

    assert clock.restarts == 1
    assert (np.diff(t_s) >= 0).all()
    assert np.abs(t_s - true_s).max() < 5e-3
    again = BoardClock()
    pieces = [again.feed(part(samples, i, i + 37)) for i in range(0, len(samples), 37)]
    assert np.array_equal(np.concatenate(pieces), t_s)


def test_ticks_that_wrap_are_no_restart():
    true_s = 1.0 + np.arange(5_000) * 1e-3
    clock = BoardClock()

    t_s = clock.feed(usb(true_s, np.random.default_rng(7), offset_us=WRAP - 3_000_000))

    assert clock.restarts == 0
    assert np.abs(t_s - true_s).max() < 5e-3


def test_more_than_a_wrap_of_silence_is_bridged_by_the_hosts_clock():
    true_s = np.concatenate([1.0 + np.arange(20_000) * 1e-3, 6000.0 + np.arange(20_000) * 1e-3])
    clock = BoardClock()

    t_s = clock.feed(usb(true_s, np.random.default_rng(8)))

    assert np.abs(t_s - true_s).max() < 5e-3


def test_a_stall_of_the_host_moves_no_time_and_is_counted_as_late():
    true_s = 1.0 + np.arange(30_000) * 1e-3
    samples = usb(true_s, np.random.default_rng(9))
    stalled = samples.received_us.copy()
    held = (true_s > 20.0) & (true_s < 20.2)
    stalled[held] = stalled[held].max()
    clock = BoardClock()

    t_s = clock.feed(samples_of(samples.ticks_us, stalled))

    assert np.abs(t_s - true_s)[10_000:].max() < 0.2e-3
    assert clock.late == np.count_nonzero(stalled / 1e6 - t_s > 0.1) > 50


@pytest.mark.parametrize("for_s", [5.0, 9.0, 12.0, 36.0, 58.0])
def test_scans_that_a_port_kept_for_seconds_while_the_host_stood_are_placed_where_they_were_taken(for_s):
    """80 scans a second, those of up to a minute come at once: a turn takes its time before, meanwhile and after."""
    true_s = 1.0 + np.arange(120 * 80) / 80
    samples = usb(true_s, np.random.default_rng(13))
    received_us = samples.received_us.copy()
    held = (true_s >= 21.0) & (true_s < 21.0 + for_s)
    received_us[held] = round((21.0 + for_s) * 1e6)
    clock = BoardClock()

    t_s = clock.feed(samples_of(samples.ticks_us, received_us))

    assert np.abs(t_s - true_s).max() < 1e-3 + 200e-6 * for_s  # the two clocks' drift is free meanwhile
    assert clock.restarts == 0


def kept(rng, *, silent_s, kept_s):
    """Nothing arrives for silent_s; of what was sent meanwhile the port has kept the last kept_s, which come at
    once."""
    true_s = 1.0 + np.arange(240 * 80) / 80
    samples = usb(true_s, rng)
    received_us, opened_s = samples.received_us.copy(), 21.0 + silent_s
    lost = (true_s >= 21.0) & (true_s < opened_s - kept_s)
    held = (true_s >= opened_s - kept_s) & (true_s < opened_s)
    received_us[held] = round(opened_s * 1e6)
    return opened_s, true_s[~lost], cut(samples_of(samples.ticks_us, received_us), ~lost)


@pytest.mark.parametrize("silent_s", [0.0, 70.0, 150.0])
@pytest.mark.parametrize("kept_s", [1.5, 12.0, 36.0])
def test_what_a_port_kept_through_a_long_silence_or_before_the_first_scan_puts_no_later_scan_ahead(silent_s, kept_s):
    if silent_s:
        opened_s, true_s, samples = kept(np.random.default_rng(14), silent_s=silent_s, kept_s=kept_s)
    else:
        opened_s, true_s, samples = kept(np.random.default_rng(14), silent_s=kept_s, kept_s=kept_s)
        true_s, samples = true_s[20 * 80 :], part(samples, 20 * 80, None)
    clock = BoardClock()

    t_s = clock.feed(samples)

    known = np.isfinite(t_s)
    assert (np.diff(t_s[known]) >= 0.0).all()
    assert (t_s - samples.received_us / 1e6)[known].max() < 1.1
    settled = true_s > opened_s + 3.0
    assert np.abs(t_s - true_s)[settled].max() < 1e-3
    again = BoardClock()
    pieces = [again.feed(part(samples, i, i + 37)) for i in range(0, len(samples), 37)]
    assert np.array_equal(np.concatenate(pieces), t_s, equal_nan=True)
    assert len(clock.gaps_s) > 0
    assert again.gaps_s == []  # its last piece has none


def stood_still(for_s, rng):
    """A board that sleeps in the middle, its clock with it: no scan is taken, no tick counted."""
    true_s = np.concatenate([1.0 + np.arange(29_500) * 1e-3, 30.5 + for_s + np.arange(30_000) * 1e-3])
    awake = usb(true_s, rng)
    return true_s, samples_of(1_000_000 + np.arange(59_500) * 1000, awake.received_us)


@pytest.mark.parametrize("for_s", [0.3, 2.0])
def test_a_board_whose_clock_stood_still_is_caught_up_with_after_ten_seconds(for_s):
    true_s, samples = stood_still(for_s, np.random.default_rng(10))
    clock = BoardClock()

    t_s = clock.feed(samples)

    assert (np.diff(t_s) >= 0).all()
    assert np.abs(t_s - true_s)[42_000:].max() < 1e-3
    assert clock.restarts == 0


def test_a_board_whose_clock_stood_still_for_a_minute_begins_anew_at_once():
    true_s, samples = stood_still(90.0, np.random.default_rng(11))
    clock = BoardClock()

    t_s = clock.feed(samples)

    assert np.abs(t_s - true_s)[29_500:].max() < 5e-3
    assert clock.restarts == 1


@pytest.mark.parametrize("pause_at", range(40_000, 43_000, 250))
def test_a_pause_while_the_clock_is_catching_up_does_not_carry_the_hurry_on(pause_at):
    true_s, samples = stood_still(0.3, np.random.default_rng(12))
    later = np.arange(len(true_s)) >= pause_at
    true_s = true_s + 30.0 * later
    device_us, received_us = samples.ticks_us + 30_000_000 * later, samples.received_us + 30_000_000 * later
    clock = BoardClock()

    t_s = clock.feed(samples_of(device_us, received_us))

    assert np.abs(t_s - true_s)[45_000:].max() < 1e-3


def test_no_scans_have_no_times():
    assert BoardClock().feed(samples_of([], [])).shape == (0,)
    assert BoardClock().error_ms is None


def crank_events(rng, *, minutes, cadence_rpm=90.0, notified_every_s=0.25):
    """True times of crank events and the receipt time of the notification that first carries each."""
    event_s = 2.0 + np.cumsum(60.0 / cadence_rpm * (1.0 + 0.02 * rng.standard_normal(int(minutes * cadence_rpm))))
    phase_s = rng.random() * notified_every_s
    notified_s = np.ceil((event_s - phase_s) / notified_every_s) * notified_every_s + phase_s
    received_us = np.rint((notified_s + 0.03 * rng.random(len(event_s))) * 1e6).astype(np.int64)
    return event_s, received_us


def test_crank_events_of_a_bluetooth_sensor_are_placed_within_tens_of_milliseconds():
    errors = []
    for seed in range(20):
        event_s, received_us = crank_events(np.random.default_rng(seed), minutes=3)
        clock = SensorClock()
        times = [clock.feed((s * (1 + 40e-6) - 900.0,), int(us))[0] for s, us in zip(event_s, received_us, strict=True)]
        errors.extend(abs(np.array(times) - event_s)[-90:])

    assert np.quantile(errors, 0.95) < 0.05
    assert np.median(errors) < 0.025  # science of the links: 20-25 ms


def test_several_events_in_one_notification_keep_their_spacing():
    clock = SensorClock()
    clock.feed((10.0,), 1_000_000)

    times = clock.feed((10.5, 11.0), 2_100_000)

    assert times == pytest.approx((1.5, 2.0), abs=1e-3)
    assert clock.feed((), 3_000_000) == ()


def test_notifications_that_waited_while_the_host_stood_put_no_later_event_ahead():
    """Forty seconds of them come at once: events after them are where they were before."""
    clock = SensorClock()
    times = []
    for i in range(200):
        event_s = i * 0.75
        received_s = 10.0 + (event_s if not 40.0 < event_s < 80.0 else 80.0)
        times += clock.feed((event_s,), int(received_s * 1e6) + i)

    assert np.abs(np.array(times) - 10.0 - np.arange(200) * 0.75).max() < 0.01


def test_a_sensor_whose_clock_slept_is_followed_again_after_five_events():
    clock = SensorClock()
    before = [clock.feed((i * 0.75,), int((10.0 + i * 0.75) * 1e6)) for i in range(40)]

    after = [clock.feed((30.0 + i * 0.75,), int((110.0 + i * 0.75) * 1e6)) for i in range(10)]

    assert before[-1] == pytest.approx((10.0 + 39 * 0.75,), abs=0.01)
    assert after[-1] == pytest.approx((110.0 + 9 * 0.75,), abs=0.01)
