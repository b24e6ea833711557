"""Whether a reading fits the requested load, and if not, what most likely happened. The counts per newton come from the
cell's readings so far; before the first, from its data sheet.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from daq.measure.calibration.bench_plan import Stage, Task, tasks
from daq.measure.calibration.finding import Finding, Wrong
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.steadiness import Settled
from daq.physics import STANDARD_G_M_S2

UNSTEADY_COUNTS = 2000.0
"""Smaller changes count as no load while the counts per newton are unknown: 0.25 N on a common 50 kg cell."""
NEAR_LOAD, NEAR_TOP = 0.01, 0.002
"""A reading fits a load within this fraction of the load plus that fraction of the highest load."""
FIRST_NEAR = 0.1
"""The same fraction of the load, while counts per newton are known only from the data sheet."""
FACTOR_WITHIN = 0.05
MOVED_OF_TOP = 0.01
"""If a zero is this far from the previous one, something has moved."""
SHARED = 0.1
"""A weight right over one cell shows less than this fraction on another."""
MIXED = (
    (STANDARD_G_M_S2, "kilograms taken for newtons"),
    (1.0 / STANDARD_G_M_S2, "newtons taken for kilograms"),
)


def counts_per_n(bench: Bench, cell: str) -> float | None:
    """Counts per newton from this cell's readings so far; None before its first load."""
    column, done = bench.plan.channels.index(cell), bench.used
    over = under = 0.0
    for task in tasks(bench.plan):
        zero = done.get(f"{cell}/{task.series}/zero")
        if task.cell == cell and task.stage in (Stage.RISING, Stage.FALLING) and task.id in done and zero is not None:
            over += task.load_n * (done[task.id].counts[column] - zero.counts[column])
            under += task.load_n**2
    return over / under if under else None


def of_load(bench: Bench, task: Task, cell: str, reading: Settled, expected: Mapping[str, float]) -> list[Finding]:
    """What is wrong with the load on this cell; expected: counts per newton by the data sheets."""
    if task.stage is Stage.ZERO or task.id == f"{cell}/creep/zero":
        return _of_zero(bench, task, cell, reading, expected)
    zero = _zero_before(bench, task, cell)
    if zero is None:
        return []
    rise = tuple(now - then for now, then in zip(reading.mean, zero, strict=True))
    elsewhere = _of_other_cell(bench, task, cell, rise, expected)
    if elsewhere:
        return elsewhere
    known = counts_per_n(bench, cell)
    per_n = known or expected.get(cell)
    if per_n is None:
        return _of_no_rise(bench, task, cell, rise) or _of_others(bench, task, cell, rise, expected)
    fits_n = rise[bench.plan.channels.index(cell)] / per_n
    wrong = _of_wrong_load(bench, task, cell, fits_n, surely=known is not None)
    return wrong or _of_others(bench, task, cell, rise, expected)


def _of_zero(bench: Bench, task: Task, cell: str, reading: Settled, expected: Mapping[str, float]) -> list[Finding]:
    """A zero far from the previous one: a weight left on, or something moved."""
    series = task.series - 1 if task.stage is Stage.ZERO else bench.plan.series
    before = bench.used.get(f"{cell}/{series}/zero-return") or bench.used.get("warm-up")
    per_n = counts_per_n(bench, cell) or expected.get(cell)
    if before is None:
        return []
    column, loads = bench.plan.channels.index(cell), bench.plan.loads_of(cell)
    if per_n is None:
        return _of_unknown_zero(cell, reading.mean[column] - before.counts[column])
    return _of_empty(cell, (reading.mean[column] - before.counts[column]) / per_n, loads)


def _of_unknown_zero(cell: str, moved_counts: float) -> list[Finding]:
    """Before the first load newtons are unknown, but if the zero has jumped since warm-up, something is on the cell."""
    if abs(moved_counts) <= UNSTEADY_COUNTS:
        return []
    return [
        Finding(
            Wrong.MOVED_FIXTURE,
            f"{cell}: the zero moved by {moved_counts:+z.0f} counts since the warm-up; is a weight on it, or has the "
            "fixture shifted? Take everything off and read again",
        )
    ]


def _of_empty(cell: str, fits_n: float, loads: tuple[float, ...]) -> list[Finding]:
    if abs(fits_n) <= MOVED_OF_TOP * loads[-1]:
        return []
    if looks_like_a_weight(fits_n, loads):
        return [
            Finding(
                Wrong.WEIGHT_LEFT_ON,
                f"{cell}: with all weight off it shows {fits_n:.1f} N, as much as a weight of the set; take it off",
            )
        ]
    return [
        Finding(
            Wrong.MOVED_FIXTURE,
            f"{cell}: the zero moved by {fits_n:+z.1f} N; has the fixture shifted, or does something lean on it? Set "
            "it right and take this series again",
        )
    ]


def looks_like_a_weight(fits_n: float, loads: tuple[float, ...]) -> bool:
    """Whether a load is one of a set, or an increment between two of them."""
    return any(_near(fits_n, load, loads[-1]) for load in {*loads, *(b - a for a, b in pairwise(loads))})


def _of_other_cell(
    bench: Bench, task: Task, cell: str, rise: tuple[float, ...], expected: Mapping[str, float]
) -> list[Finding]:
    """The load shows more than twice as much on another cell as on the intended one."""
    own = counts_per_n(bench, cell) or expected.get(cell)
    least = 0.2 * task.load_n if own else UNSTEADY_COUNTS
    shown = {}
    for name in bench.plan.cells:
        per_n = counts_per_n(bench, name) or expected.get(name) or own or 1.0
        shown[name] = abs(rise[bench.plan.channels.index(name)] / per_n)
    most = max(shown, key=lambda name: shown[name])
    if task.load_n == 0.0 or most == cell or shown[most] < max(2.0 * shown[cell], least):
        return []
    return [
        Finding(
            Wrong.WRONG_CELL,
            f"the load shows on {most}, not on {cell}; hang it on {cell}, or check which cell is wired to which "
            "channel",
        )
    ]


def _of_others(
    bench: Bench, task: Task, cell: str, rise: tuple[float, ...], expected: Mapping[str, float]
) -> list[Finding]:
    """A load on another cell, besides the right one on this. An unknown cell is assumed to be like this one, wired
    either way.
    """
    column = bench.plan.channels.index
    own = counts_per_n(bench, cell) or expected.get(cell) or (rise[column(cell)] / task.load_n if task.load_n else None)
    limit_n = SHARED * task.load_n + MOVED_OF_TOP * bench.plan.loads_of(cell)[-1]
    found = []
    for name in bench.plan.cells:
        moved, known = rise[column(name)], counts_per_n(bench, name) or expected.get(name)
        per_n = known or own
        if name == cell or not per_n or abs(moved / per_n) <= limit_n:
            continue
        shows = f"{moved / known:+z.1f} N" if known else f"{moved:+z.0f} counts"
        found.append(
            Finding(
                Wrong.LOAD_ELSEWHERE,
                f"{name} shows {shows} since the zero before, beside what is asked of {cell}: take off its load, "
                f"hang the weight right over {cell} alone; if something was on it at that zero, take the series again",
            )
        )
    return found


def _of_no_rise(bench: Bench, task: Task, cell: str, rise: tuple[float, ...]) -> list[Finding]:
    if abs(rise[bench.plan.channels.index(cell)]) > UNSTEADY_COUNTS:
        return []
    changed = {name: abs(counts) for name, counts in zip(bench.plan.channels, rise, strict=True)}
    most = max(changed, key=lambda name: changed[name])
    elsewhere = f", though that of {most} did" if changed[most] > UNSTEADY_COUNTS else ""
    return [
        Finding(
            Wrong.WEIGHT_FORGOTTEN,
            f"{cell}: the reading did not change from zero{elsewhere}; put {task.load_n:.2f} N on it, or check the "
            "cell's wires",
        )
    ]


def _of_wrong_load(bench: Bench, task: Task, cell: str, fits_n: float, *, surely: bool) -> list[Finding]:
    loads, asked = bench.plan.loads_of(cell), task.load_n
    top_n = loads[-1]
    if abs(fits_n - asked) <= (NEAR_LOAD if surely else FIRST_NEAR) * asked + NEAR_TOP * top_n:
        return []
    if asked == 0.0:
        return _of_empty(cell, fits_n, loads)
    said = f"{cell}: asked was {asked:.2f} N, the reading fits {fits_n:.2f} N"
    for factor, mixed in MIXED:
        if abs(fits_n / asked / factor - 1.0) < FACTOR_WITHIN:
            return [
                Finding(
                    Wrong.WRONG_UNIT,
                    f"{said}, a factor 9.8: {mixed}; put on what is asked, or start again with the loads in their unit",
                )
            ]
    below = max((load for load in (0.0, *loads) if load < asked), default=0.0)
    above = min((load for load in loads if load > asked), default=asked)
    rising = task.stage in (Stage.RISING, Stage.CREEP, Stage.CROSS_TALK)
    if _near(fits_n, 0.0, top_n):
        return [Finding(Wrong.WEIGHT_FORGOTTEN, f"{said}: no weight is on; put it on")]
    first = _only_load(bench, cell)
    if first is not None and _near(fits_n * asked / first.load_n, first.load_n, top_n):
        return [
            Finding(
                Wrong.WRONG_ORDER,
                f"{said}, as if this weight and that of {first.id} were exchanged; take {first.id} again, then this",
            )
        ]
    if rising and _near(fits_n, below, top_n):
        return [Finding(Wrong.WEIGHT_FORGOTTEN, f"{said}: the last weight is missing; put it on")]
    if task.stage is Stage.FALLING and _near(fits_n, above, top_n):
        return [Finding(Wrong.WEIGHT_LEFT_ON, f"{said}: the last weight is still on; take it off")]
    if any(_near(fits_n, load, top_n) for load in loads):
        return [Finding(Wrong.WRONG_ORDER, f"{said}: that is another step of the set; put the weights on in order")]
    return [
        Finding(
            Wrong.MOVED_FIXTURE,
            f"{said}, which no weight of the set explains; has the fixture moved, does the weight touch something, is "
            f"it another weight{'' if first is None else f', or was that of {first.id}'}? Set it right and repeat this "
            "reading, or the series",
        )
    ]


def _only_load(bench: Bench, cell: str) -> Task | None:
    """The only load so far from which the counts per newton are known; None before it, and once there are more."""
    done = [
        task
        for task in tasks(bench.plan)
        if task.cell == cell and task.stage in (Stage.RISING, Stage.FALLING) and task.id in bench.used
    ]
    return done[0] if len(done) == 1 else None


def _near(fits_n: float, load_n: float, top_n: float) -> bool:
    return abs(fits_n - load_n) <= NEAR_LOAD * abs(load_n) + NEAR_TOP * top_n


def _zero_before(bench: Bench, task: Task, cell: str) -> tuple[float, ...] | None:
    """Counts of all channels at the zero this reading counts from."""
    done = bench.used
    if task.stage is Stage.CROSS_TALK:
        key = f"cross-talk/{task.series}/zero"
    elif task.stage is Stage.CREEP:
        key = f"{cell}/creep/zero"
    else:
        key = f"{cell}/{task.series}/zero"
    return done[key].counts if key in done else None
