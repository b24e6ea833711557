"""The session's clock: never twice the same, and for a simulated jig never a jump when the machine stalls."""

import time

from daq.sources.clock import SessionClock


def wall(*readings_s):
    """A wall clock that reads these, one after the other."""
    times = iter(readings_s)
    return lambda: round(next(times) * 1e9)


def test_no_two_stamps_are_alike():
    clock = SessionClock(monotonic_ns=lambda: 0)
    assert [clock.stamp_us() for _ in range(3)] == [1, 2, 3]


def test_a_stalled_machine_slows_a_simulated_ride_down():
    clock = SessionClock(pace=50.0, at_most_s=0.25, monotonic_ns=wall(0.0, 0.004, 1.004, 1.008))
    seen = []
    for _ in range(3):
        clock.beat()
        seen.append(clock.now_us())
    assert seen == [200_000, 450_000, 650_000]  # 0.004 s at pace 50; a second lost counts as one beat; 0.004 s again


def test_without_a_beat_the_clock_of_a_real_jig_goes_on():
    clock = SessionClock(monotonic_ns=wall(0.0, 2.0))
    clock.beat()
    assert clock.now_us() == 2_000_000


def test_seconds_the_machine_slept_count(monkeypatch):
    asleep_s, real = [0.0], time.clock_gettime_ns
    monkeypatch.setattr(
        time,
        "clock_gettime_ns",
        lambda which: real(which) + round(1e9 * asleep_s[0] * (which == time.CLOCK_BOOTTIME)),
    )
    clock = SessionClock()

    asleep_s[0] = 30.0

    assert 30_000_000 <= clock.now_us() < 40_000_000
