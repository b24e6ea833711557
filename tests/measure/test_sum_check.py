from pathlib import Path

import numpy as np
import pytest

from daq.measure.mechanics import shares
from daq.measure.sum_check import NotStill, feet_off_check, hold_of, riding_check

CELLS = ("hands_left", "hands_right", "saddle_nose", "saddle_rear")
WEIGHT_N = 735.5
HOLDS = np.array(
    [
        [120.0, 120.0, 300.0, 195.5],
        [40.0, 40.0, 200.0, 455.5],
        [150.0, 40.0, 250.0, 295.5],
        [40.0, 150.0, 250.0, 295.5],
        [80.0, 80.0, 420.0, 155.5],
    ]
)
"""Feet off the pedals: leaning forward, sitting back, leaning left, right, on the nose; each adds up to the weight."""


def riding(cells, mass_kg=75.0):
    return riding_check(shares(sum(cells[:2]), sum(cells[2:]), mass_kg=mass_kg), cells, CELLS)


def test_a_plausible_sum_passes():
    assert riding([50.0, 55.0, 200.0, 190.0]).passed


def test_too_much_on_the_feet_blames_a_low_cell_or_a_high_mass():
    found = riding([50.0, 55.0, 60.0, 60.0])

    assert not found.passed
    assert "feet would carry 69 % of the weight; expected 10 to 60 %" in found.text
    assert "reads too little, or the mass is too high" in found.text


def test_feet_that_would_be_pulled_up_blame_a_high_cell_or_a_low_mass():
    found = riding([50.0, 55.0, 400.0, 300.0])

    assert not found.passed
    assert "reads too much, or the mass is too low" in found.text


def test_a_cell_that_carries_nothing_is_named():
    found = riding([50.0, 55.0, 2.0, 190.0])

    assert found.suspects == ("saddle_nose",)
    assert "saddle_nose first: cable, mounting, zero" in found.text


def test_holds_that_add_up_pass():
    noise = np.random.default_rng(3).normal(0.0, 1.5, HOLDS.shape)

    assert feet_off_check(HOLDS + noise, CELLS, WEIGHT_N).passed


@pytest.mark.parametrize("cell", range(4))
@pytest.mark.parametrize("factor", [0.85, 1.2])
def test_one_cell_off_by_a_factor_is_found(cell, factor):
    holds = HOLDS.copy()
    holds[:, cell] *= factor
    noise = np.random.default_rng(cell).normal(0.0, 1.0, HOLDS.shape)

    found = feet_off_check(holds + noise, CELLS, WEIGHT_N)

    assert not found.passed
    assert found.suspects == (CELLS[cell],)


def test_a_wrong_mass_is_found():
    found = feet_off_check(HOLDS, CELLS, 1.05 * WEIGHT_N)

    assert found.suspects == ("mass",)
    assert "show 95.2 % of the weight" in found.text


def test_one_hold_cannot_tell_why():
    found = feet_off_check(HOLDS[:1], CELLS, 1.05 * WEIGHT_N)

    assert not found.passed
    assert found.suspects == ()
    assert "hold at least 3 positions" in found.text


def test_holds_too_alike_leave_all_causes_open():
    found = feet_off_check(np.repeat(HOLDS[:1], 4, axis=0), CELLS, 1.05 * WEIGHT_N)

    assert len(found.suspects) > 1
    assert "it may be" in found.text


def test_two_wrong_cells_are_not_told_as_one_cause():
    """The mass fits best, 82 where 15 are allowed."""
    found = feet_off_check(HOLDS * np.array([0.75, 1.0, 1.0, 0.9]), CELLS, WEIGHT_N)

    assert found.suspects == ()
    assert "neither the mass nor one cell alone explains it" in found.text


def test_holds_of_other_cells_are_refused():
    with pytest.raises(ValueError, match=r"expected holds of 4 cells, got shape \(1, 2\)"):
        feet_off_check(HOLDS[:1, :2], CELLS, WEIGHT_N)


def held(seconds=2.0, rate_hz=100.0):
    """A person who stands still on a force plate, as the load on the saddle: tests/published/force_plate/README.md."""
    file = Path(__file__).parents[1] / "published/force_plate/standing_fz.csv"
    saddle_n = np.loadtxt(file, skiprows=1)[: int(seconds * rate_hz)]
    return np.column_stack([saddle_n, np.zeros_like(saddle_n)]), np.zeros_like(saddle_n), saddle_n


def test_a_person_who_is_still_is_a_hold():
    cells_n, hands_n, saddle_n = held()

    assert hold_of(cells_n, hands_n, saddle_n) == pytest.approx([saddle_n.mean(), 0.0])


def test_loads_that_move_are_no_hold():
    cells_n, hands_n, saddle_n = held()
    pedalling_n = 15.0 * np.sin(2 * np.pi * 3.0 * np.arange(len(hands_n)) / 100.0)

    with pytest.raises(NotStill, match="the load on the bar moves by 11 N: feet off the pedals, sit still for 2 s"):
        hold_of(cells_n, hands_n + pedalling_n, saddle_n)


def test_a_silent_cell_is_no_hold():
    cells_n, hands_n, saddle_n = held()

    with pytest.raises(NotStill, match="silent or not calibrated"):
        hold_of(cells_n * np.nan, hands_n, saddle_n)
