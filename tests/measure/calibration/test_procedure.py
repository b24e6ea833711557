import re
from itertools import pairwise

import pytest

from daq.measure.calibration.bench_plan import BenchPlan, OffAxisPlace, Stage, tasks
from daq.measure.calibration.procedure import (
    HANDLING_S,
    TRANSITIONS,
    Bench,
    BenchTrigger,
    minutes_left,
    redo,
    redo_series,
    skip,
    stop,
    take,
)
from daq.refusals import NotNow
from tests.measure.calibration.simulated_bench import done, plan, worked_until


def stages_of(bench):
    """The stages gone through, one entry for each reading."""
    stages = [bench.stage]
    while bench.task is not None:
        bench = take(bench, done(bench.task)[1])
        stages.append(bench.stage)
    return stages


def test_a_whole_calibration_goes_by_the_table():
    for before, after in pairwise(stages_of(Bench(plan()))):
        assert after in TRANSITIONS[before].values(), f"{before} -> {after}"


def test_the_time_left_is_the_waits_and_the_readings_still_to_take():
    bench = Bench(plan())
    whole = minutes_left(bench, 5.0)
    waits_min = bench.plan.warm_up_min + len(bench.plan.cells) * bench.plan.creep_min
    begun = take(bench, done(bench.task)[1])

    assert whole == pytest.approx(waits_min + len(tasks(bench.plan)) * (5.0 + HANDLING_S) / 60.0)
    assert whole - minutes_left(begun, 5.0) == pytest.approx(bench.plan.warm_up_min + (5.0 + HANDLING_S) / 60.0)
    assert minutes_left(stop(bench), 5.0) == 0.0


def test_every_stage_of_the_table_is_reached_and_every_name_in_it_exists():
    reached = set(stages_of(Bench(plan()))) | {Stage.STOPPED}

    assert reached == set(TRANSITIONS) == set(Stage)
    assert {event for events in TRANSITIONS.values() for event in events} == set(BenchTrigger)


def test_a_series_is_zero_up_down_zero():
    ids = [task.id for task in tasks(plan()) if task.id.startswith("bar/1/")]

    assert ids == [
        "bar/1/zero",
        *(f"bar/1/rising/{i}" for i in (1, 2, 3, 4, 5)),
        *(f"bar/1/falling/{i}" for i in (4, 3, 2, 1)),
        "bar/1/zero-return",
    ]


def test_every_task_has_its_own_name_and_says_what_to_do():
    all_tasks = tasks(plan())

    assert len({task.id for task in all_tasks}) == len(all_tasks)
    told = {task.id: task.instruction() for task in all_tasks}
    assert told["bar/1/rising/2"] == "bar: add weight to 100 N"
    assert told["bar/1/falling/2"] == "bar: take weight off to 100 N"
    assert told["nose/2/zero-return"] == "nose: take all weight off"
    assert told["corners/1"] == "put 200 N on the saddle's left edge"
    assert told["cross-talk/1/rear"] == "put 200 N right over rear"
    assert told["tare/2"] == "empty jig: tilt it to 1.5 deg"
    assert all(told.values())


def test_stages_the_plan_leaves_empty_are_passed_over():
    bench = worked_until(bench=Bench(plan(creep_min=0.0, places=(), crosstalk_n=0.0, tilts_deg=())))

    assert bench.stage is Stage.DONE
    assert not {task.stage for task in tasks(bench.plan)} & {Stage.CREEP, Stage.CORNERS, Stage.CROSS_TALK, Stage.TARE}


def test_one_reading_is_taken_again_without_starting_over():
    bench = worked_until("nose/1/rising/3")
    before = len(bench.used)

    again = redo(bench, "bar/2/falling/3")

    assert again.task.id == "bar/2/falling/3"
    assert again.stage is Stage.FALLING
    assert len(again.used) == before - 1
    assert len(again.taken) == len(bench.taken)
    assert take(again, done(again.task, seed=99)[1]).task.id == "nose/1/rising/3"


def test_what_was_taken_first_is_kept_and_marked():
    bench = redo(worked_until(), "bar/1/rising/1")
    bench = take(bench, done(bench.task, seed=99)[1])

    first, second = (taken for taken in bench.taken if taken.task == "bar/1/rising/1")
    assert (first.replaced, second.replaced) == (True, False)
    assert bench.used["bar/1/rising/1"] is second
    assert bench.stage is Stage.DONE


def test_a_whole_series_is_taken_again_when_the_fixture_moved():
    bench = redo_series(worked_until("nose/1/zero"), "bar", 2)

    assert bench.task.id == "bar/2/zero"
    assert worked_until("nose/1/zero", bench).used.keys() == worked_until("nose/1/zero").used.keys()


def test_the_cross_talk_of_a_cell_is_no_part_of_its_series():
    bench = redo_series(worked_until(), "bar", 1)

    assert "cross-talk/1/bar" in bench.used
    assert "bar/1/rising/1" not in bench.used


def test_every_reading_is_told_from_the_others_in_words():
    every = tasks(plan())
    said = {task.id: task.words for task in every}

    assert len({(task.cell, task.words) for task in every}) == len(every)
    assert said["warm-up"] == "warm up"
    assert said["bar/1/rising/2"] == "series 1, rising 100 N"
    assert said["bar/2/zero-return"] == "series 2, zero return"
    assert said["bar/creep/zero-return"] == "creep, zero return"
    assert said["cross-talk/1/bar"] == "cross talk 1, 200 N"
    assert said["tare/2"] == "tare 2, 1.5°"


def test_a_reading_out_of_turn_is_refused_with_what_is_due():
    bench = worked_until("bar/1/rising/2")
    later = next(task for task in tasks(bench.plan) if task.id == "bar/1/rising/3")

    with pytest.raises(NotNow, match=r"bar/1/rising/3 is not due now; due is bar/1/rising/2: bar: add weight to 100 N"):
        take(bench, done(later)[1])
    with pytest.raises(NotNow, match="was not taken yet"):
        redo(bench, "bar/1/rising/3")
    with pytest.raises(NotNow, match="series 2 of nose was not begun"):
        redo_series(bench, "nose", 2)
    with pytest.raises(NotNow, match="the calibration is done"):
        take(worked_until(), done(later)[1])


def test_only_stages_a_calibration_can_do_without_are_left_out():
    bench = worked_until("bar/creep/load")

    without = skip(bench)

    assert without.stage is Stage.CORNERS
    assert skip(skip(skip(without))).stage is Stage.DONE
    with pytest.raises(NotNow, match=r"stage rising cannot be left out; possible now: read, stage-done, stop"):
        skip(worked_until("bar/1/rising/1"))


def test_a_stopped_calibration_keeps_its_readings_and_goes_on_with_one_taken_again():
    bench = worked_until("nose/1/zero")

    stopped = stop(bench)

    assert stopped.stage is Stage.STOPPED
    assert stopped.taken == bench.taken
    assert redo(stopped, "bar/1/zero").task.id == "bar/1/zero"
    with pytest.raises(NotNow, match="stopped already"):
        stop(stopped)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"loads_n": ()}, "at least one cell"),
        ({"loads_n": (("stem", (1.0, 2.0, 3.0)),)}, "no channel stem; the board has tilt, nose, rear, bar"),
        ({"places": (OffAxisPlace("x", ("seat",), 1.0),)}, "place 'x': seat is not among the cells to calibrate"),
        ({"loads_n": (("bar", (50.0, 100.0, 200.0)),)}, "nose, rear is not among the cells to calibrate, bar"),
        ({"tilts_deg": (0.0, 1.5, 3.0)}, "tilts: expected tilts on the way up and on the way down"),
        ({"tilts_deg": (0.0, 3.0, 0.0)}, "tilts: expected at least 3 different tilts .* got 2"),
        ({"loads_n": (("bar", (100.0, 50.0, 200.0)),)}, "bar: expected at least 3 different loads .* lightest first"),
        ({"loads_n": (("bar", (50.0, 100.0)),)}, "bar: expected at least 3 different loads"),
        ({"loads_n": (("bar", (0.0, 50.0, 100.0)),)}, "above zero"),
        ({"series": 1}, "at least 2 series"),
        ({"creep_min": -1.0}, "times and loads of at least 0"),
    ],
)
def test_a_plan_that_cannot_be_worked_is_refused(changes, sentence):
    with pytest.raises(ValueError, match=rf"calibration plan: .*{sentence}"):
        plan(**changes)


def test_counts_of_another_board_are_refused():
    bench = Bench(BenchPlan(("bar",), (("bar", (1.0, 2.0, 3.0)),)))

    with pytest.raises(ValueError, match=re.escape("expected counts of 1 channels, got 4")):
        take(bench, done(bench.task)[1])
