"""Neighbours that are off together are hysteresis, whatever its shape; a point that is off alone is not."""

import numpy as np
import pytest

from daq.measure.calibration.branches import off_own_branch
from daq.measure.calibration.report import fit_report
from tests.measure.calibration.simulated_points import PER_N, table

RNG = np.random.default_rng
SHARE = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 0.8, 0.6, 0.4, 0.2, 0.0])
FALLING = np.arange(11) > 5
EVERY = np.arange(11)


def noted(*tables):
    said = [warning for rows in tables for warning in fit_report(rows, 1)["warnings"]]
    return [warning for warning in said if "forgotten" in warning]


@pytest.mark.parametrize("hysteresis", [0.005, 0.01, 0.02])
@pytest.mark.parametrize("series", [1, 3])
@pytest.mark.parametrize("loads", [4, 6])
def test_a_falling_branch_that_alone_is_off_is_no_forgotten_weight(hysteresis, series, loads):
    """With a straight rising branch every table of 4 loads had that caution, and up to a quarter of 6 loads."""
    how = {"hysteresis": hysteresis, "falling": 1.0, "noise_n": 0.05, "loads": loads, "series": series}

    assert noted(*(table(RNG(i), columns=("series", "direction"), **how) for i in range(20))) == []


@pytest.mark.parametrize("at", [3, 9])
@pytest.mark.parametrize("loads", [6, 9])
def test_one_percent_left_on_or_missing_is_named_beside_a_falling_branch_that_is_off(at, loads):
    rows = table(RNG(1), hysteresis=0.003, falling=1.0, noise_n=0.02, loads=loads, columns=("direction",)).splitlines()
    load, reading, way = rows[at].split(",")
    rows[at] = f"{load},{float(reading) + 5.0 * PER_N},{way}"

    (warning,) = noted("\n".join(rows))

    assert warning.startswith(f"line {at + 1} ")


def test_a_loop_that_leans_to_one_side_is_smooth_and_a_point_off_it_is_not():
    rng = RNG(2)
    bend = SHARE * (1.0 - SHARE)
    loop = np.where(FALLING, 0.08 * bend * (1.0 - 0.7 * SHARE), -0.01 * bend)
    reading = 3.0 + SHARE + loop + rng.normal(0.0, 1e-4, 11)
    pushed, both = reading + 0.01 * (EVERY == 8), reading + 0.01 * np.isin(EVERY, [2, 8])

    assert off_own_branch(SHARE, reading, FALLING, EVERY, 0.002).tolist() == []
    assert off_own_branch(SHARE, pushed, FALLING, np.array([2, 8]), 0.002).tolist() == [8]
    assert off_own_branch(SHARE, pushed, FALLING, np.array([2, 8]), 0.02).tolist() == []
    # one of two would hide the other
    assert off_own_branch(SHARE, both, FALLING, np.array([2, 8]), 0.002).tolist() == [2, 8]


def test_a_point_that_scatter_puts_there_is_none():
    reading = SHARE + RNG(4).normal(0.0, 0.01, 11)

    assert off_own_branch(SHARE, reading, FALLING, EVERY, 0.002).tolist() == []


def test_four_loads_tell_a_bend_of_each_branch():
    share, falling = np.array([0.0, 1.0, 2.0, 3.0, 2.0, 1.0, 0.0]) / 3.0, np.arange(7) > 3
    reading = share + np.where(falling, 0.02, 0.0) * share * (1.0 - share) + RNG(5).normal(0.0, 1e-5, 7)

    assert off_own_branch(share, reading + 0.01 * (np.arange(7) == 5), falling, np.array([5]), 0.002).tolist() == [5]


def test_a_kink_that_every_series_shows_is_the_cells_and_one_that_one_shows_is_not():
    rng = RNG(3)
    load, falling, at = np.tile(SHARE, 3), np.tile(FALLING, 3), np.tile(EVERY, 3)
    kinked = load + 0.01 * (at == 8) + rng.normal(0.0, 1e-4, 33)
    once = load + 0.01 * (np.arange(33) == 8) + rng.normal(0.0, 1e-4, 33)

    assert off_own_branch(load, kinked, falling, np.flatnonzero(at == 8), 0.002).tolist() == []
    assert off_own_branch(load, once, falling, np.flatnonzero(at == 8), 0.002).tolist() == [8]


def test_with_three_loads_only_what_is_too_much_for_hysteresis_is_noted():
    """Which of the three is wrong, five points cannot tell."""

    def readings(top):
        return f"load_n,reading,direction\n0,0,up\n250,250,up\n500,{top},up\n250,250.1,down\n0,0.1,down\n"

    assert noted(readings(510.0)) == []
    assert noted(readings(600.0)) != []
