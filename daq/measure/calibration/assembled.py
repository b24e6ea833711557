"""From the readings of a guided calibration to the Calibration that is kept."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration import terms
from daq.measure.calibration.bench_plan import Stage, Task, tasks
from daq.measure.calibration.cell import CalibratedCell, CellError, Conditions, Readings, calibrated, with_assembly
from daq.measure.calibration.convert import apply
from daq.measure.calibration.crosstalk import CrossTalk, crosstalk
from daq.measure.calibration.model import Calibration, Channel, TiltTare
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.tare import fit_tare
from daq.measure.calibration.uncertainty import Term
from daq.values import Array

CREEP_ASSUMED = 0.735 / 3000.0
"""Creep over the load when it was not tested: what OIML R60 allows a cell of class C with 3000 intervals."""
OFF_AXIS = "off-axis"


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """A calibration and what it was made from."""

    calibration: Calibration
    cells: dict[str, CalibratedCell]
    crosstalk: CrossTalk | None
    off_axis: dict[str, float]
    """Of each cell with off-axis placements: largest deviation of a placement from their mean, over the load."""


def assembled(
    bench: Bench,
    order: int,
    conditions: Conditions,
    *,
    id: str,
    made_utc: str,
    simulated: bool,
    tilt: Channel | None = None,
    typical_load_n: float = 200.0,
) -> Made:
    """The calibration that a finished bench gives.

    tilt: the tilt channel with its own calibration. typical_load_n: on every cell in use, for what cross-talk leaves.
    Raises CellError when readings are still due, and the errors of fit, cross-talk and tare.
    """
    if bench.stage is not Stage.DONE:
        due = f"; due is {bench.task.instruction()}" if bench.task else ""
        raise CellError(f"the calibration is at stage {bench.stage}{due}")
    cells = {cell: _cell(bench, cell, order, conditions) for cell in bench.plan.cells}
    plain = _put_together(bench, {name: cell.channel for name, cell in cells.items()}, tilt, id, made_utc, simulated)
    found = _crosstalk(bench, plain)
    plain = replace(plain, crosstalk=found.rows if found else None)
    off_axis = _off_axis(bench, plain)
    left_n = found.left_over_n([typical_load_n] * len(cells)) if found else np.zeros(len(cells))
    tares = _tares(bench, plain)
    channels = {}
    for j, name in enumerate(bench.plan.on_board):
        channel = with_assembly(
            cells[name].channel,
            crosstalk_n=float(left_n[j]),
            crosstalk_dof=found.dof if found else 0,
            tare=tares.get(name),
        )
        channels[name] = _with_off_axis(channel, off_axis.get(name, 0.0))
    calibration = _put_together(bench, channels, tilt, id, made_utc, simulated)
    return Made(replace(calibration, crosstalk=plain.crosstalk), cells, found, off_axis)


def _put_together(
    bench: Bench, channels: dict[str, Channel], tilt: Channel | None, id: str, made_utc: str, simulated: bool
) -> Calibration:
    known = {**channels, **({tilt.name: tilt} if tilt else {})}
    return Calibration(
        id=id,
        made_utc=made_utc,
        channels=tuple(known.get(name, Channel(name, "unused")) for name in bench.plan.channels),
        simulated=simulated,
    )


def _cell(bench: Bench, cell: str, order: int, conditions: Conditions) -> CalibratedCell:
    column, done = bench.plan.channels.index(cell), bench.used
    mine = [task for task in tasks(bench.plan) if task.cell == cell and task.stage in _SERIES]
    readings = Readings(
        load_n=np.array([task.load_n for task in mine]),
        counts=np.array([done[task.id].counts[column] for task in mine]),
        series=np.array([task.series for task in mine]),
        falling=np.array([task.stage in (Stage.FALLING, Stage.ZERO_RETURN) for task in mine]),
    )
    return calibrated(cell, readings, order, conditions, creep_relative=_creep(bench, cell, column))


_SERIES = (Stage.ZERO, Stage.RISING, Stage.FALLING, Stage.ZERO_RETURN)


def _creep(bench: Bench, cell: str, column: int) -> float:
    loaded, zero = bench.used.get(f"{cell}/creep/load"), bench.used.get(f"{cell}/creep/zero")
    if loaded is None or zero is None or not loaded.trace:
        return CREEP_ASSUMED
    t_s, counts = zip(*loaded.trace, strict=True)
    return terms.creep(t_s, counts, zero.counts[column]).largest


def _crosstalk(bench: Bench, plain: Calibration) -> CrossTalk | None:
    done = bench.used
    true, shown = [], []
    for task in _done(bench, Stage.CROSS_TALK):
        if task.cell is not None:
            true.append([task.load_n if cell == task.cell else 0.0 for cell in bench.plan.on_board])
            shown.append(_forces(bench, plain, done[task.id].counts, done[f"cross-talk/{task.series}/zero"].counts))
    return crosstalk(bench.plan.on_board, np.array(true), np.array(shown)) if true else None


def _off_axis(bench: Bench, plain: Calibration) -> dict[str, float]:
    """Placements of a bar or saddle have to show the same sum wherever the weight is put on it."""
    done, places = bench.used, {place.name: place for place in bench.plan.places}
    shown: dict[tuple[str, ...], list[float]] = {}
    for task in _done(bench, Stage.CORNERS):
        if task.place:
            cells = places[task.place].cells
            forces = _forces(bench, plain, done[task.id].counts, done["corners/zero"].counts)
            together = sum(float(forces[bench.plan.on_board.index(cell)]) for cell in cells)
            shown.setdefault(cells, []).append(together / task.load_n)
    found: dict[str, float] = {}
    for cells, ratios in shown.items():
        deviation = max(abs(ratio - float(np.mean(ratios))) for ratio in ratios)
        found.update({cell: max(deviation, found.get(cell, 0.0)) for cell in cells})
    return found


def _with_off_axis(channel: Channel, deviation: float) -> Channel:
    if not deviation or channel.uncertainty is None:
        return channel
    term = Term(OFF_AXIS, relative=deviation / math.sqrt(3.0), shape="rectangular", note="largest of the placements")
    return replace(channel, uncertainty=replace(channel.uncertainty, terms=(*channel.uncertainty.terms, term)))


def _tares(bench: Bench, plain: Calibration) -> dict[str, TiltTare]:
    done = [bench.used[task.id].counts for task in _done(bench, Stage.TARE)]
    tilt = next((j for j, channel in enumerate(plain.channels) if channel.kind == "tilt"), None)
    if not done or tilt is None:
        return {}
    tilt_deg = apply(plain, np.array(done))[:, tilt]
    shown = np.array([_forces(bench, plain, counts, done[0]) for counts in done])
    return {cell: fit_tare(tilt_deg, shown[:, j]) for j, cell in enumerate(bench.plan.on_board)}


def _done(bench: Bench, stage: Stage) -> list[Task]:
    return [task for task in tasks(bench.plan) if task.stage is stage and task.id in bench.used]


def _forces(bench: Bench, plain: Calibration, counts: tuple[float, ...], zero: tuple[float, ...]) -> Array:
    """Loads of the calibrated cells, in the board's order."""
    values = apply(plain, np.array([counts]), zero)[0]
    return np.asarray(values[[bench.plan.channels.index(cell) for cell in bench.plan.on_board]])
