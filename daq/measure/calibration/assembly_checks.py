"""Whether a reading of the whole jig fits what was requested: empty, or one weight shared by some cells.

By then every cell has its counts per newton, from its own readings.
"""

from __future__ import annotations

from daq.measure.calibration.bench_plan import Stage, Task, tasks
from daq.measure.calibration.finding import Finding, Wrong
from daq.measure.calibration.load_checks import MIXED, MOVED_OF_TOP, counts_per_n, looks_like_a_weight
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.steadiness import Settled

FORGOTTEN, NEAR_PLACED = 0.1, 0.1
"""Fractions of the weight: less than the first counts as none; the cells that share it have to show it together within
the second."""
UNIT_WITHIN = 0.1
LEVEL_DEG = 0.1
"""Smaller tilts shift no noticeable weight of bar and saddle onto the cells."""


def of_assembly(bench: Bench, task: Task, reading: Settled) -> list[Finding]:
    """What is wrong with the loads of this reading of the whole jig."""
    if task.load_n:
        return _of_place(bench, task, reading)
    if task.tilt_deg is not None and abs(task.tilt_deg) > LEVEL_DEG:
        return []
    return _of_empty_jig(bench, reading)


def _of_place(bench: Bench, task: Task, reading: Settled) -> list[Finding]:
    """A placement has to show the weight on its cells in sum, and nothing on the others."""
    zero = bench.used.get("corners/zero")
    place = next(place for place in bench.plan.places if place.name == task.place)
    if zero is None:
        return []
    shown_n = _since(bench, reading, zero.counts)
    together_n = sum(shown_n[cell] for cell in place.cells)
    others = [
        Finding(
            Wrong.LOAD_ELSEWHERE,
            f"{cell} shows {load_n:+z.1f} N, though it does not share {task.place}; take off what is on it",
        )
        for cell, load_n in shown_n.items()
        if cell not in place.cells and abs(load_n) > NEAR_PLACED * task.load_n + MOVED_OF_TOP * _top_n(bench, cell)
    ]
    ratio = together_n / task.load_n
    if abs(ratio - 1.0) <= NEAR_PLACED:
        return others
    said = f"{task.place}: asked was {task.load_n:.2f} N, {' and '.join(place.cells)} show {together_n:.2f} N together"
    if ratio < FORGOTTEN and not others:
        return [Finding(Wrong.WEIGHT_FORGOTTEN, f"{said}: no weight is on; put it on")]
    mixed = [words for factor, words in MIXED if abs(ratio / factor - 1.0) < UNIT_WITHIN]
    if mixed:
        return [Finding(Wrong.WRONG_UNIT, f"{said}, a factor 9.8: {mixed[0]}; put on what is asked"), *others]
    why = "is it another weight, or does something else carry part of it? Set it right and read again"
    return [Finding(Wrong.MOVED_FIXTURE, f"{said}; {why}"), *others]


def _of_empty_jig(bench: Bench, reading: Settled) -> list[Finding]:
    """The empty jig compared with its last zero. Bar and saddle may have been mounted on cells calibrated bare: the
    first time, only a load that looks like a weight of the set is reported."""
    stages = (Stage.CORNERS, Stage.CROSS_TALK, Stage.TARE)
    level = [
        one.id
        for one in tasks(bench.plan)
        if one.stage in stages and not one.load_n and abs(one.tilt_deg or 0.0) <= LEVEL_DEG
    ]
    found = []
    before = next((bench.used[one] for one in reversed(level) if one in bench.used), None)
    for cell in bench.plan.cells:
        then = before or bench.used.get(f"{cell}/{bench.plan.series}/zero-return")
        if then is None:
            continue
        shows_n = _since(bench, reading, then.counts)[cell]
        if abs(shows_n) <= MOVED_OF_TOP * _top_n(bench, cell):
            continue
        if looks_like_a_weight(shows_n, bench.plan.loads_of(cell)):
            words = f"{cell}: the empty jig shows {shows_n:.1f} N, as much as a weight of the set; take it off"
            found.append(Finding(Wrong.WEIGHT_LEFT_ON, words))
        elif before is not None:
            words = (
                f"{cell}: the zero of the empty jig moved by {shows_n:+z.1f} N; is something on it, or has it shifted? "
                "Set it right and take this stage again"
            )
            found.append(Finding(Wrong.MOVED_FIXTURE, words))
    return found


def _since(bench: Bench, reading: Settled, zero: tuple[float, ...]) -> dict[str, float]:
    """What each cell shows since a zero, N; cells without known counts per newton are left out."""
    shown = {}
    for cell in bench.plan.cells:
        column, per_n = bench.plan.channels.index(cell), counts_per_n(bench, cell)
        shown[cell] = (reading.mean[column] - zero[column]) / per_n if per_n else 0.0
    return shown


def _top_n(bench: Bench, cell: str) -> float:
    return bench.plan.loads_of(cell)[-1]
