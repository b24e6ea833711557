"""From the readings of a guided calibration to the Calibration that is kept."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration import terms
from daq.measure.calibration.bench_plan import Stage, Task, tasks
from daq.measure.calibration.budget import ROOT_3, BenchConditions
from daq.measure.calibration.cell import CalibratedCell, calibrated, with_assembly
from daq.measure.calibration.convert import apply
from daq.measure.calibration.crosstalk import CrossTalk, crosstalk
from daq.measure.calibration.model import CalibratedChannel, Calibration, TiltTare
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.series import CellError, CellReadings, Creep
from daq.measure.calibration.tare import TareError, check_tilts, fit_tare
from daq.measure.calibration.uncertainty import Term
from daq.values import Array

CREEP_ASSUMED = 0.735 / 3000.0
"""Creep over the load if it was not tested: the limit of OIML R60 for a class C cell with 3000 intervals."""


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """A calibration and what it was made from."""

    calibration: Calibration
    cells: dict[str, CalibratedCell]
    crosstalk: CrossTalk | None
    off_axis: dict[str, float]
    """For each cell with off-axis placements: largest error of a placement, over its load."""


def assembled(
    bench: Bench,
    order: int,
    conditions: BenchConditions,
    *,
    id: str,
    made_utc: str,
    simulated: bool,
    tilt: CalibratedChannel | None = None,
    typical_load_n: float = 200.0,
) -> Made:
    """The calibration that a finished bench gives.

    tilt: the tilt channel with its own calibration. typical_load_n: on every cell in use, for the residual cross-talk.
    Raises CellError if readings are still due, and the errors of fit, cross-talk and tare.
    """
    if bench.stage is not Stage.DONE:
        due = f"; due is {bench.task.instruction()}" if bench.task else ""
        raise CellError(f"the calibration is at stage {bench.stage}{due}")
    cells = {cell: _cell(bench, cell, order, conditions) for cell in bench.plan.cells}
    plain = _put_together(bench, {name: cell.channel for name, cell in cells.items()}, tilt, id, made_utc, simulated)
    found = _crosstalk(bench, plain, cells)
    plain = replace(plain, crosstalk=found.rows if found else None)
    off_axis = _off_axis(bench, plain)
    tares = _tares(bench, plain)
    channels = {}
    for name in bench.plan.on_board:
        added = [*_of_crosstalk(found, name, typical_load_n), *_of_off_axis(off_axis.get(name))]
        channels[name] = with_assembly(cells[name].channel, added, tare=tares.get(name))
    calibration = _put_together(bench, channels, tilt, id, made_utc, simulated)
    return Made(replace(calibration, crosstalk=plain.crosstalk), cells, found, off_axis)


def _put_together(
    bench: Bench,
    channels: dict[str, CalibratedChannel],
    tilt: CalibratedChannel | None,
    id: str,
    made_utc: str,
    simulated: bool,
) -> Calibration:
    known = {**channels, **({tilt.name: tilt} if tilt else {})}
    return Calibration(
        id=id,
        made_utc=made_utc,
        channels=tuple(known.get(name, CalibratedChannel(name, "unused")) for name in bench.plan.channels),
        simulated=simulated,
    )


def _cell(bench: Bench, cell: str, order: int, conditions: BenchConditions) -> CalibratedCell:
    column, done = bench.plan.channels.index(cell), bench.used
    mine = [task for task in tasks(bench.plan) if task.cell == cell and task.stage in _SERIES]
    readings = CellReadings(
        load_n=np.array([task.load_n for task in mine]),
        counts=np.array([done[task.id].counts[column] for task in mine]),
        series=np.array([task.series for task in mine]),
        falling=np.array([task.stage in (Stage.FALLING, Stage.ZERO_RETURN) for task in mine]),
    )
    return calibrated(cell, readings, order, conditions, _creep(bench, cell, column))


_SERIES = (Stage.ZERO, Stage.RISING, Stage.FALLING, Stage.ZERO_RETURN)


def _creep(bench: Bench, cell: str, column: int) -> Creep:
    loaded, zero = bench.used.get(f"{cell}/creep/load"), bench.used.get(f"{cell}/creep/zero")
    if loaded is None or zero is None or not loaded.trace:
        return Creep(CREEP_ASSUMED, "not tested: what OIML R60 allows class C, n = 3000")
    t_s, counts = zip(*loaded.trace, strict=True)
    found = terms.creep(t_s, counts, zero.counts[column])
    empty, after = zero.counts[column], bench.used.get(f"{cell}/creep/zero-return")
    left = None if after is None else terms.zero_return(empty, after.counts[column], counts[0] - empty)
    return Creep(found.largest, f"largest in {found.minutes:.0f} min under load", left)


def _crosstalk(bench: Bench, plain: Calibration, cells: dict[str, CalibratedCell]) -> CrossTalk | None:
    """None if it was not measured, or skipped before every cell had been loaded."""
    done = bench.used
    placed = [task for task in _done(bench, Stage.CROSS_TALK) if task.cell is not None]
    if not placed or (Stage.CROSS_TALK in bench.skipped and {task.cell for task in placed} != set(bench.plan.cells)):
        return None
    true = [[task.load_n if cell == task.cell else 0.0 for cell in bench.plan.on_board] for task in placed]
    shown = [
        _forces(bench, plain, done[task.id].counts, done[f"cross-talk/{task.series}/zero"].counts) for task in placed
    ]
    scatter_n = [cells[cell].figures.repeatability_n for cell in bench.plan.on_board]
    return crosstalk(bench.plan.on_board, np.array(true), np.array(shown), scatter_n=scatter_n)


def _of_crosstalk(found: CrossTalk | None, name: str, typical_load_n: float) -> list[Term]:
    """The residual of the correction, and the cell's response on the assembled jig to a load right over it."""
    if found is None:
        return []
    j = found.names.index(name)
    left_n = float(found.left_over_n([typical_load_n] * len(found.names))[j])
    own = found.own[j]
    return [
        Term("cross-talk", absolute_n=left_n, dof=float(found.dof) or None,
             note=f"left by the correction, {typical_load_n:g} N on every other cell"),
        Term("assembly", relative=abs(own - 1.0) / ROOT_3, shape="rectangular",
             note=f"on the jig it shows {100.0 * own:.2f} % of a load right over it"),
    ]  # fmt: skip


def _off_axis(bench: Bench, plain: Calibration) -> dict[str, float]:
    """A bar or saddle has to show the weight wherever it is placed: largest error, over the weight."""
    done, places = bench.used, {place.name: place for place in bench.plan.places}
    found: dict[str, float] = {}
    for task in _done(bench, Stage.CORNERS):
        if task.place:
            cells = places[task.place].cells
            forces = _forces(bench, plain, done[task.id].counts, done["corners/zero"].counts)
            together = sum(float(forces[bench.plan.on_board.index(cell)]) for cell in cells)
            error = abs(together / task.load_n - 1.0)
            found.update({cell: max(error, found.get(cell, 0.0)) for cell in cells})
    return found


def _of_off_axis(error: float | None) -> list[Term]:
    if error is None:
        return []
    return [Term("off-axis", relative=error / ROOT_3, shape="rectangular", note="largest error of the placements")]


def _tares(bench: Bench, plain: Calibration) -> dict[str, TiltTare]:
    done = [bench.used[task.id].counts for task in _done(bench, Stage.TARE)]
    tilt = next((j for j, channel in enumerate(plain.channels) if channel.kind == "tilt"), None)
    if not done or tilt is None:
        return {}
    tilt_deg = apply(plain, np.array(done))[:, tilt]
    if Stage.TARE in bench.skipped and not _tell_a_tare(tilt_deg):
        return {}
    shown = np.array([_forces(bench, plain, counts, done[0]) for counts in done])
    return {cell: fit_tare(tilt_deg, shown[:, j]) for j, cell in enumerate(bench.plan.on_board)}


def _tell_a_tare(tilt_deg: Array) -> bool:
    try:
        check_tilts(tilt_deg)
    except TareError:
        return False
    return True


def _done(bench: Bench, stage: Stage) -> list[Task]:
    return [task for task in tasks(bench.plan) if task.stage is stage and task.id in bench.used]


def _forces(bench: Bench, plain: Calibration, counts: tuple[float, ...], zero: tuple[float, ...]) -> Array:
    """Loads of the calibrated cells, in the board's order."""
    values = apply(plain, np.array([counts]), zero)[0]
    return np.asarray(values[[bench.plan.channels.index(cell) for cell in bench.plan.on_board]])
