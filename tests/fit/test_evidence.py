"""Sides, steps and comparisons laid before the fitter."""

import math
from dataclasses import replace

import pytest

from daq.fit.overlaid import against
from daq.fit.sides import sides
from daq.fit.step_table import step_table
from daq.values import NAN, Setting
from tests.fit.sweeps import INTAKE, RIG, SADDLE_N, ridden

LEVEL = ridden()


def test_nose_less_rear_is_the_difference_of_the_two_cells():
    """Half of the load at the nose, 150 mm behind the reference between cells at 60 and 240 mm: none too many."""
    (found,) = sides(LEVEL, RIG)

    nose_n = SADDLE_N * (240.0 - 150.0) / 180.0
    assert (found.first, found.second) == ("nose", "rear")
    assert found.over.difference_n == pytest.approx(2.0 * nose_n - SADDLE_N, abs=1.0)
    assert not found.over.clear


def test_a_step_carries_its_shares_and_what_moved_with_the_saddle():
    """By hand: 430 N of 75 kg at 9.80665 m/s2 is 58.46 %; at 45 mm the load acts 195 mm behind the BB."""
    sweep = replace(LEVEL, plan=replace(LEVEL.plan, start_setback_mm=78.0, start_height_mm=722.0))
    row = next(row for row in step_table(sweep, RIG, INTAKE.saddle) if row.setback_mm == 45.0)

    assert row.shares.saddle == pytest.approx(0.5846, abs=1e-4)
    assert row.load_point_mm == pytest.approx(195.0, abs=0.5)
    assert row.moved.reach_change_mm == 0.0
    assert row.moved.height_change_mm > 0.0


def test_reach_and_drop_of_a_step_are_those_it_was_set_with_whatever_the_plan_says():
    """By hand: a bar that stayed comes 35 mm nearer from 80 to 45 mm; 10 mm more along a seat tube of 73.5 degrees are
    9.6 mm more of drop."""
    heights_mm = {80.0: 720.0, 45.0: 730.0}
    steps = tuple(
        replace(step, setting=Setting(heights_mm.get(step.setback_mm, NAN), 480.0, 680.0)) for step in LEVEL.steps
    )
    rows = {row.setback_mm: row for row in step_table(replace(LEVEL, steps=steps), RIG, INTAKE.saddle)}

    assert rows[80.0].reach_change_mm == rows[80.0].drop_change_mm == 0.0
    assert rows[45.0].reach_change_mm == pytest.approx(-35.0)
    assert rows[45.0].drop_change_mm == pytest.approx(9.6, abs=0.05)
    assert math.isnan(rows[60.0].drop_change_mm)
    assert math.isnan(step_table(LEVEL, RIG, INTAKE.saddle)[3].reach_change_mm)


def test_two_sweeps_are_set_against_each_other_only_where_both_name_an_onset():
    climb = replace(ridden(lambda mm: 80.0 + 1.5 * max(45.0 - mm, 0.0), label="climb"), sweep_id=2)
    flat = replace(ridden(lambda mm: 80.0, label="flat"), sweep_id=3)

    few = replace(flat, sweep_id=4, plan=replace(flat.plan, purpose="check"))
    with_onset, without = against(LEVEL, [LEVEL, climb, flat, few])

    assert with_onset.said[0].startswith("the onset of climb lies further forward")
    assert without.said == ("no difference can be given: no onset is named in flat",)


def test_across_visits_the_difference_has_a_caution():
    before = replace(ridden(), sweep_id=9).on("2026-01-31")

    (found,) = against(LEVEL, [before], same_visit=False)

    assert found.name == "level, 2026-01-31"
    assert "different sessions" in found.said[-1]


def test_beside_a_climb_stands_what_the_gradient_does_to_every_rider():
    """By hand: 722 mm along a seat tube of 73.5 degrees is 692 mm over the BB; times sin(atan 0.045) that is 31 mm."""
    level = replace(LEVEL, plan=replace(LEVEL.plan, start_setback_mm=78.0, start_height_mm=722.0))
    climb = replace(level, sweep_id=2, plan=replace(level.plan, gradient_pct=4.5))

    (found,) = against(level, [climb])

    assert "31 mm further back against gravity" in found.said[-1]
    assert against(LEVEL, [replace(LEVEL, sweep_id=2)])[0].said[-1] != found.said[-1]
