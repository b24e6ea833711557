"""What is wrong with a reading before it is accepted: each finding says what, and what to do. A finding stops nothing
by itself: the engineer may repeat the reading or accept it anyway, and the finding is then stored with it. Only a
saturated cell cannot be accepted.
"""

from __future__ import annotations

from collections.abc import Mapping

from daq.measure.calibration.assembly_checks import of_assembly
from daq.measure.calibration.bench_plan import Stage, Task
from daq.measure.calibration.finding import Finding, Wrong
from daq.measure.calibration.load_checks import UNSTEADY_COUNTS, counts_per_n, of_load
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.steadiness import Settled

SHORTEST_S = 2.0
SHORTEST_WARM_UP_S = 60.0
UNSTEADY_OF_TOP = 5e-4
"""Drift within a reading, or scatter of its mean, over the highest load of the cell."""


def findings(
    bench: Bench,
    reading: Settled,
    *,
    minutes: float = 0.0,
    expected_per_n: Mapping[str, float] | None = None,
    tilt_deg: float | None = None,
) -> tuple[Finding, ...]:
    """What is wrong with a reading for the current task; empty if nothing is.

    minutes: since power came on (warm-up). expected_per_n: counts per newton of a cell by its data sheet; with it the
    very first load is checked too, including for a mix-up of units. tilt_deg: the tilt channel's reading (tare).
    """
    task = bench.task
    if task is None:
        return ()
    found = [*_of_any(bench, task, reading, expected_per_n or {})]
    if task.stage is Stage.WARM_UP:
        found += _of_warm_up(bench, reading, minutes)
    elif task.stage is Stage.TARE:
        found += [*of_assembly(bench, task, reading), *_of_tilt(task, tilt_deg)]
    elif task.cell is None:
        found += [] if found else of_assembly(bench, task, reading)
    elif task.cell is not None and not found:
        found += of_load(bench, task, task.cell, reading, expected_per_n or {})
    return tuple(found)


def _of_any(bench: Bench, task: Task, reading: Settled, expected: Mapping[str, float]) -> list[Finding]:
    found = []
    cells = [task.cell] if task.cell is not None else list(bench.plan.cells)
    columns = {cell: bench.plan.channels.index(cell) for cell in cells}
    full = [cell for cell, j in columns.items() if reading.saturated[j]]
    if full:
        found.append(
            Finding(
                Wrong.SATURATED,
                f"{', '.join(full)}: the converter is at the end of its range; take weight off or lower the gain",
            )
        )
    if reading.seconds < SHORTEST_S:
        found.append(
            Finding(Wrong.TOO_SHORT, f"{reading.seconds:.1f} s were read, expected {SHORTEST_S:g} s or more; wait")
        )
    for cell, j in columns.items():
        per_n = counts_per_n(bench, cell) or expected.get(cell)
        top_n = bench.plan.loads_of(cell)[-1]
        limit = UNSTEADY_OF_TOP * top_n * abs(per_n) if per_n else UNSTEADY_COUNTS
        moves = max(abs(reading.drift[j]), 2.0 * reading.sd[j] / reading.scans**0.5)
        if moves > limit and not full:
            in_newtons = f" ({moves / abs(per_n):.2f} N)" if per_n else ""
            found.append(
                Finding(
                    Wrong.UNSTABLE,
                    f"{cell}: the reading moves by {moves:.0f} counts{in_newtons} in {reading.seconds:.0f} s, expected "
                    f"{limit:.0f} or less; let the weight hang still, touch nothing, keep draughts and cables away",
                )
            )
    return found


def _of_warm_up(bench: Bench, reading: Settled, minutes: float) -> list[Finding]:
    if minutes < bench.plan.warm_up_min:
        left = bench.plan.warm_up_min - minutes
        return [Finding(Wrong.STILL_WARMING, f"on for {minutes:.0f} min; wait another {left:.0f} min")]
    if reading.seconds < SHORTEST_WARM_UP_S:
        return [
            Finding(
                Wrong.TOO_SHORT,
                f"whether the zero stands cannot be told in {reading.seconds:.0f} s; wait {SHORTEST_WARM_UP_S:g} s",
            )
        ]
    return []


def _of_tilt(task: Task, tilt_deg: float | None) -> list[Finding]:
    asked = task.tilt_deg
    if tilt_deg is None or asked is None or abs(tilt_deg - asked) <= 0.5:
        return []
    return [
        Finding(
            Wrong.WRONG_TILT,
            f"the jig stands at {tilt_deg:.1f} deg, asked was {asked:g} deg; tilt it there, or accept this tilt",
        )
    ]
