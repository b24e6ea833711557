"""Scans of the reference board, its machine code executed: every conversion, right, once, in order, in time."""

import numpy as np
import pytest

from daq.sources.reference_bench import INPUT, TILT_MV, UNPLUGGED
from daq.values import Status
from daq.wire import board
from tests.firmware.endurance import wrong_or_lost
from tests.firmware.running import ID, SEEDS, S, running, scans, wrong_counts

PERIOD_US = 12_500


def test_ten_thousand_scans_come_without_a_wrong_or_lost_one(built):
    """A million of them: `python -m tests.faults.full`."""
    received, wrong, lost = wrong_or_lost(built, scans_wanted=10_000)

    assert received >= 10_000
    assert (wrong, lost) == (0, 0)


def test_a_wrong_count_would_be_found(built, monkeypatch):
    monkeypatch.setattr("tests.firmware.endurance.SEEDS", (11, 12, 13, 15))
    monkeypatch.setattr("tests.firmware.endurance.PART_S", 2)

    with pytest.raises(IndexError):
        wrong_or_lost(built, scans_wanted=100)


def test_converters_that_drift_against_one_another_are_read_without_a_wrong_one(built):
    """Each runs by its own clock; a scan comes with the slowest, so that the faster ones leave one out now and then."""
    with running(built, spread=True) as on:
        got = scans(on.run(12))
        figures = on.bench.figures()

        assert wrong_counts(got.counts[:, :4], left_out=1) == 0
        assert (got.status == 0).all()
        assert figures["torn"] == figures["overtaken"] == 0
        slowest_us = PERIOD_US * 1.003
        assert np.diff(got.ticks_us.astype(np.int64)).mean() == pytest.approx(slowest_us, rel=1e-4)


def test_the_ticks_are_those_of_the_data_ready_edge(built):
    """Five microseconds of latency at most, and no jitter of the main loop: it lies in no tick."""
    with running(built) as on:
        ticks_us = scans(on.run(8)).ticks_us.astype(np.int64)

        assert np.abs(np.diff(ticks_us) - PERIOD_US).max() <= 10


def test_an_edge_while_the_timer_begins_anew_has_its_right_tick(built):
    """Timer 1 begins anew every 32.768 ms. Converters of a third of that, but for a cycle, step slowly across it."""
    third_us, cycles = 32_768 / 3, 174_764  # 4 cycles more than 32.768 ms in three conversions

    def replug(on, us):
        for level in (1, 0):
            for i in range(4):
                on.bench.at(us + 1 - level, UNPLUGGED, level, i)

    with running(built) as on:
        for i in range(4):
            on.bench.make(i, seed=SEEDS[i], period_error=(cycles + 0.5) / 200_000 - 1.0)
        on.run(1)
        begun_us = on.bench.now_us
        replug(on, begun_us)
        tick_us = int(scans(on.run(0.3)).ticks_us[-1])
        us_after = tick_us % third_us
        replug(on, begun_us + 28 * third_us - us_after - 6)
        ticks_us = scans(on.run(2.5)).ticks_us.astype(np.int64)[-180:]

        assert np.abs(np.diff(ticks_us) - cycles / 16).max() <= 10
        crossed_us = (ticks_us + third_us / 2) % third_us - third_us / 2
        assert crossed_us[0] < -1
        assert crossed_us[-1] > 3


def test_it_says_zero_hello_and_then_scans_without_being_asked(built):
    with running(built) as on:
        data = on.bench.run(1.5 * S)
        said = on.decoder.feed(data, 0)

        assert data[0] == 0
        assert isinstance(said[0], board.HelloBody)
        assert (said[0].board_id, said[0].boot, said[0].running) == (ID.hex(), 7, True)
        assert said[0].firmware == "reference 1.0, power-on, 5.0 V"
        assert [(c.name, c.kind, c.bits, c.gain) for c in said[0].channels] == [
            *(
                (name, board.ChannelKind.BRIDGE, 24, 128)
                for name in ("hands_left", "hands_right", "saddle_nose", "saddle_rear")
            ),
            ("tilt", board.ChannelKind.TILT, 16, 1),
        ]
        assert int(scans(said).sequence[0]) == 0


def test_the_first_scan_is_settled(built):
    """Converters give three to four conversions after power-up that are on their way (model: wrong until then)."""
    with running(built, made=False) as on:
        for i in range(4):
            on.bench.at(0, INPUT, 1_000_000.0 * (i + 1), i)
        got = scans(on.run(1))

        assert (got.counts[:, :4] == np.array([1, 2, 3, 4]) * 1_000_000).all()


@pytest.mark.parametrize("hides", [False, True])
def test_a_converter_may_hide_what_is_not_settled(built, hides):
    with running(built) as on:
        for i in range(4):
            on.bench.make(i, seed=SEEDS[i], hides=hides)
        got = scans(on.run(2))

        assert wrong_counts(got.counts[:, :4]) == 0
        assert len(got) > 140


def test_the_microseconds_wrap_and_nothing_is_lost(built, elf_symbol):
    """71.6 minutes are not waited for: the upper part of the clock is set to two seconds before its end."""
    with running(built) as on:
        on.run(1)
        before = (2**32 - 2_000_000) // 32_768 * 32_768
        on.bench.poke(elf_symbol("turned_us"), before.to_bytes(4, "little"))
        on.decoder = board.BoardDecoder("board")
        got = scans(on.run(6))

        ticks_us = got.ticks_us.astype(np.int64)
        assert ticks_us[0] > ticks_us[-1]
        assert (np.diff(ticks_us) % 2**32 <= PERIOD_US + 10).all()
        assert wrong_counts(got.counts[:, :4]) == 0
        assert on.decoder.dropped == 0
        assert on.hello.ticks_us < 5_000_000


def test_the_tilt_is_the_mean_of_twenty_milliseconds_in_sixteen_bits(built):
    """10 bits of 5 V, 64 together: 13.09 counts a millivolt, 0 in the middle."""
    with running(built, made=False) as on:
        on.run(0.5)
        for mv in (1000, 2500, 3200, 4300):
            on.bench.at(on.bench.now_us, TILT_MV, mv)
            on.run(0.1)
            tilt = scans(on.run(0.3)).counts[:, 4]
            assert np.abs(tilt - (mv * 1023 / 5000 * 64 - 32_736)).max() <= 64  # one count of the 10-bit converter


@pytest.mark.parametrize(("mv", "end"), [(0, -32_768), (5000, 32_767)])
def test_a_tilt_sensor_at_the_end_of_its_scale_is_saturated(built, mv, end):
    with running(built) as on:
        on.bench.at(0, TILT_MV, mv)
        on.run(1)
        got = scans(on.run(0.5))

        assert (got.counts[:, 4] == end).all()
        assert (got.status == Status.SATURATED).all()
