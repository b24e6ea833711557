import numpy as np
import pytest

from daq.measure.cell_checks import CellWatch, CheckedCell
from daq.values import NAN, Loads, Samples, Status

RATE = 100
CELLS = (
    CheckedCell("hands_left", 0, "hands", capacity_n=500.0),
    CheckedCell("saddle_rear", 2, "saddle", capacity_n=1500.0),
)
"""Column 1 of the scans belongs to something else."""


def second(i, counts=(1000, 0, 4000), loads_n=(80.0, 400.0), *, noise=3, status=0, n=RATE):
    """One second of scans with these means."""
    rng = np.random.default_rng(i)
    t_s = i + np.arange(n) / n
    raw = np.rint(np.array(counts) + noise * rng.standard_normal((n, 3))).astype(np.int32)
    zeros = np.zeros(n, np.uint8)
    flags = np.full(n, status, np.uint8)
    ticks, numbers = zeros.astype(np.uint32), zeros.astype(np.uint16)
    samples = Samples("board", (t_s * 1e6).astype(np.int64), ticks, numbers, flags, raw)
    cells_n = np.tile(np.array(loads_n), (n, 1))
    return samples, Loads(t_s, cells_n[:, 0], cells_n[:, -1], np.full(n, NAN), cells_n, flags)


def watched(cells=CELLS, seconds=4, **each):
    watch = CellWatch(cells)
    for i in range(seconds + 1):
        watch.feed(*second(i, **each))
    return watch.troubles


def test_a_jig_in_use_has_no_troubles():
    assert watched(seconds=15) == {}


def test_an_empty_jig_has_no_troubles():
    assert watched(loads_n=(-2.0, 3.0), seconds=15) == {}


@pytest.mark.parametrize("end", [2**23 - 1, -(2**23)])
def test_a_cell_at_either_end_of_its_scale_is_named(end):
    troubles = watched(counts=(1000, 0, end), noise=0, seconds=1)

    assert list(troubles) == ["saddle_rear"]
    assert troubles["saddle_rear"].startswith("at the end of its converter's scale")


def test_an_overload_is_named_in_newtons_with_the_rating():
    assert watched(loads_n=(612.0, 900.0))["hands_left"].startswith("overloaded: 612 N, rated 500 N")


def test_a_cell_without_a_count_of_noise_for_three_seconds_is_stuck():
    frozen = [second(i, noise=0) for i in range(5)]
    live = [second(i) for i in range(5)]
    watch = CellWatch(CELLS)
    for (dead, loads), (good, _) in zip(frozen, live, strict=True):
        dead.counts[:, 0] = good.counts[:, 0]
        watch.feed(dead, loads)

    assert list(watch.troubles) == ["saddle_rear"]
    assert "has not changed by one count for 3 s" in watch.troubles["saddle_rear"]


def test_two_seconds_without_a_change_are_not_yet_a_stuck_cell():
    assert watched(noise=0, seconds=2) == {}


def test_one_changed_count_is_enough_to_be_alive():
    watch = CellWatch(CELLS[:1])
    for i in range(5):
        samples, loads = second(i, noise=0)
        samples.counts[i, 0] += 1
        watch.feed(samples, loads)

    assert watch.troubles == {}


def test_a_transmitters_rounded_loads_may_stand_still():
    assert watched(cells=(CheckedCell("hands_left", 0, "hands", 32, raw=False),), loads_n=(80.0,), noise=0) == {}


def test_a_cell_that_reads_negative_under_a_rider_is_named():
    assert "reads -90 N under a rider: its signal wires are swapped" in watched(loads_n=(-90.0, 400.0))["hands_left"]


def test_swapped_plugs_of_bar_and_saddle_are_suspected_after_ten_seconds():
    assert watched(loads_n=(400.0, 80.0), seconds=9) == {}
    assert "are the plugs of bar and saddle swapped?" in watched(loads_n=(400.0, 80.0), seconds=10)["plugs"]


ALONG = (*CELLS, CheckedCell("bar_pull", 1, "hands", capacity_n=300.0, normal=False))


def test_a_force_along_the_jig_is_no_load_but_may_overload_its_cell_either_way():
    """The hands pull with 400 N while they rest on the bar with 80: nothing is swapped, and nobody sits on the jig."""
    pulled = {"cells": (*CELLS, CheckedCell("bar_pull", 1, "hands", normal=False)), "seconds": 15}

    assert watched(loads_n=(80.0, 90.0, -400.0), **pulled) == {}
    assert watched(loads_n=(80.0, 90.0, 400.0), **pulled) == {}
    assert watched(loads_n=(-60.0, 30.0, -400.0), **pulled) == {}
    for force_n in (-340.0, 340.0):
        found = watched(ALONG, loads_n=(80.0, 400.0, force_n))
        assert found["bar_pull"].startswith("overloaded: 340 N, rated 300 N")


def test_a_rider_who_stands_up_is_not_suspected():
    assert watched(loads_n=(160.0, 0.0), seconds=15) == {}


def test_a_converter_error_of_the_board_is_told():
    assert "a converter that could not be read" in watched(status=int(Status.ADC_ERROR))["cells"]


def test_a_trouble_ends_with_its_cause():
    watch = CellWatch(CELLS)
    for i in range(6):
        watch.feed(*second(i, loads_n=(612.0 if i < 3 else 80.0, 900.0)))

    assert watch.troubles == {}


def test_without_cells_nothing_is_watched():
    assert not CellWatch(()).watches
    assert CellWatch(CELLS).watches
