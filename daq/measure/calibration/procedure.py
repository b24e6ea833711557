"""The guided calibration as a table: which stage follows which, and what the engineer does in each.

A calibration of a jig warms up once; then each cell in turn goes through its series of loads (zero, up, down, zero),
then through a creep test; then the assembled jig gets its off-axis placements, cross-talk and tilts. Every single
reading can be repeated at any time without starting over: the previous one stays in the record, marked as replaced.
Nothing here reads a cell: readings come in, a new Bench goes out.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace

from daq.measure.calibration.bench_plan import OF_SERIES, BenchPlan, Stage, Task, tasks
from daq.refusals import NotNow


class BenchTrigger(enum.StrEnum):
    """What moves a calibration on. READ: a reading was taken and the stage has more of them."""

    READ = "read"
    STAGE_DONE = "stage-done"
    NEXT_SERIES = "next-series"
    """Of the same cell or the next."""
    SKIP = "skip"
    STOP = "stop"


S, E = Stage, BenchTrigger
TRANSITIONS: dict[Stage, dict[BenchTrigger, Stage]] = {
    S.WARM_UP: {E.STAGE_DONE: S.ZERO, E.STOP: S.STOPPED},
    S.ZERO: {E.STAGE_DONE: S.RISING, E.STOP: S.STOPPED},
    S.RISING: {E.READ: S.RISING, E.STAGE_DONE: S.FALLING, E.STOP: S.STOPPED},
    S.FALLING: {E.READ: S.FALLING, E.STAGE_DONE: S.ZERO_RETURN, E.STOP: S.STOPPED},
    S.ZERO_RETURN: {E.NEXT_SERIES: S.ZERO, E.STAGE_DONE: S.CREEP, E.STOP: S.STOPPED},
    S.CREEP: {E.READ: S.CREEP, E.STAGE_DONE: S.CORNERS, E.SKIP: S.CORNERS, E.STOP: S.STOPPED},
    S.CORNERS: {E.READ: S.CORNERS, E.STAGE_DONE: S.CROSS_TALK, E.SKIP: S.CROSS_TALK, E.STOP: S.STOPPED},
    S.CROSS_TALK: {E.READ: S.CROSS_TALK, E.STAGE_DONE: S.TARE, E.SKIP: S.TARE, E.STOP: S.STOPPED},
    S.TARE: {E.READ: S.TARE, E.STAGE_DONE: S.DONE, E.SKIP: S.DONE, E.STOP: S.STOPPED},
    S.DONE: {},
    S.STOPPED: {},
}
"""A stage without planned readings is skipped. Repeating a reading is not in the table: it is possible from everywhere,
and leads to that reading."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One accepted reading."""

    task: str
    at_utc: str
    counts: tuple[float, ...]
    """Mean of every channel of the board."""
    sd_counts: tuple[float, ...]
    seconds: float
    trace: tuple[tuple[float, float], ...] = ()
    """Creep only: (seconds under load, counts of the cell)."""
    replaced: bool = False
    """Repeated later; kept, but not used."""
    accepted_against: tuple[str, ...] = ()
    """The program's finding, which the engineer accepted."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A calibration in progress."""

    plan: BenchPlan
    taken: tuple[Taken, ...] = ()
    """Everything ever read, in order."""
    skipped: frozenset[Stage] = frozenset()
    stopped: bool = False

    @property
    def used(self) -> dict[str, Taken]:
        """The reading that counts for each finished task."""
        return {taken.task: taken for taken in self.taken if not taken.replaced}

    @property
    def task(self) -> Task | None:
        """The next reading to take; None if there is none."""
        done = self.used
        open_tasks = (t for t in tasks(self.plan) if t.id not in done and t.stage not in self.skipped)
        return None if self.stopped else next(open_tasks, None)

    @property
    def stage(self) -> Stage:
        task = self.task
        return Stage.STOPPED if self.stopped else Stage.DONE if task is None else task.stage


HANDLING_S = 20.0
"""To put a weight on or take it off, and for it to hang still. Common practice, no source."""


def minutes_left(bench: Bench, read_s: float) -> float:
    """How long the readings still to take need, with read_s for each; the warm-up by its plan."""
    done = bench.used
    left = [one for one in tasks(bench.plan) if one.id not in done and one.stage not in bench.skipped]
    waits_min = sum(bench.plan.warm_up_min if one.stage is Stage.WARM_UP else one.minutes for one in left)
    return 0.0 if bench.stopped else waits_min + len(left) * (read_s + HANDLING_S) / 60.0


def take(bench: Bench, reading: Taken) -> Bench:
    """The bench with one more reading. NotNow if another one, or none, is due."""
    task = bench.task
    if task is None:
        raise NotNow(f"the calibration is {bench.stage}: no reading is due; take one again to change it")
    if reading.task != task.id:
        raise NotNow(f"reading {reading.task} is not due now; due is {task.id}: {task.instruction()}")
    if len(reading.counts) != len(bench.plan.channels):
        raise ValueError(f"expected counts of {len(bench.plan.channels)} channels, got {len(reading.counts)}")
    return replace(bench, taken=(*bench.taken, reading))


def redo(bench: Bench, task_id: str) -> Bench:
    """The bench with one reading to repeat; readings made after it stay. NotNow if it was never taken."""
    if task_id not in bench.used:
        raise NotNow(f"reading {task_id} was not taken yet, so it cannot be taken again")
    taken = tuple(replace(one, replaced=True) if one.task == task_id else one for one in bench.taken)
    return replace(bench, taken=taken, stopped=False)


def redo_series(bench: Bench, cell: str, series: int) -> Bench:
    """The bench with a whole series of one cell to repeat, for example after the fixture moved."""
    of_series = [t.id for t in tasks(bench.plan) if (t.cell, t.series) == (cell, series) and t.stage in OF_SERIES]
    again = [one for one in of_series if one in bench.used]
    if not again:
        raise NotNow(f"series {series} of {cell} was not begun yet")
    for task_id in again:
        bench = redo(bench, task_id)
    return bench


def skip(bench: Bench) -> Bench:
    """The bench without the rest of this stage. NotNow for a stage that every calibration needs."""
    if BenchTrigger.SKIP not in TRANSITIONS[bench.stage]:
        can = ", ".join(TRANSITIONS[bench.stage]) or "nothing more"
        raise NotNow(f"stage {bench.stage} cannot be left out; possible now: {can}")
    return replace(bench, skipped=bench.skipped | {bench.stage})


def stop(bench: Bench) -> Bench:
    """The bench ended early; readings stay, and repeating one continues it."""
    if bench.task is None:
        raise NotNow(f"the calibration is {bench.stage} already")
    return replace(bench, stopped=True)
