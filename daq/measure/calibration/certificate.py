"""What a certificate page says about a calibration, as plain content; it is drawn elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from daq.measure.calibration.assembled import Made
from daq.measure.calibration.bench_plan import Task, tasks
from daq.measure.calibration.budget import BenchConditions
from daq.measure.calibration.cell import CalibratedCell
from daq.measure.calibration.content import lists_of
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.r60 import CellClass, permissible_error_n
from daq.measure.calibration.status import status_at
from daq.measure.calibration.uncertainty import Uncertainty, expanded

STATEMENT = (
    "This is the user's own calibration, made with the means named here. It is not an accredited calibration "
    "(ISO/IEC 17025), no type approval and no verification of a weighing instrument."
)
SIMULATED = "Made on a simulated jig: nothing here was measured."


@dataclass(frozen=True, slots=True)
class Circumstances:
    """Who, where, and in what conditions. Texts as the engineer typed them."""

    made_by: str
    place: str = ""
    temperature_degc: float | None = None
    instrument: str = ""
    """Board and converter."""
    remarks: str = ""


def certificate(
    made: Made,
    bench: Bench,
    conditions: BenchConditions,
    circumstances: Circumstances,
    *,
    expected_per_n: Mapping[str, float] | None = None,
    intervals: int = 3000,
    cell_class: CellClass = "C",
) -> dict[str, Any]:
    """The content of a certificate: only texts, numbers, lists, tables and None.

    expected_per_n: counts per newton by which the first loads were judged, for cells where they were known.
    intervals, cell_class: of OIML R60, whose error limits are drawn beside the residuals for comparison.
    """
    calibration, expected = made.calibration, expected_per_n or {}
    due = {task.id: task for task in tasks(bench.plan)}
    content = {
        "calibration": calibration.id,
        "made_utc": calibration.made_utc,
        "valid_until_utc": status_at(calibration.made_utc, (), calibration.made_utc).until_utc,
        "simulated": calibration.simulated,
        "statements": [STATEMENT, *([SIMULATED] if calibration.simulated else [])],
        "circumstances": asdict(circumstances),
        "reference": {
            "weights": conditions.weights.note,
            "relative_standard_uncertainty": conditions.weights.relative,
            **(_of_weights(conditions) if conditions.by_weights else {}),
        },
        "cells": [
            {
                **_cell(name, cell, made, cell_class=cell_class, intervals=intervals),
                "counts_per_n": float(1.0 / cell.fit.coefficients[0]),
                "expected_counts_per_n": expected.get(name),
            }
            for name, cell in made.cells.items()
        ],
        "crosstalk": _crosstalk(made),
        "readings": [{**asdict(taken), **_asked(due[taken.task])} for taken in bench.taken],
        "left_out": sorted(bench.skipped),
        "accepted_against": [
            {"reading": taken.task, "finding": sentence}
            for taken in bench.taken
            if not taken.replaced
            for sentence in taken.accepted_against
        ],
    }
    return {key: lists_of(value) for key, value in content.items()}


def _asked(task: Task) -> dict[str, Any]:
    return {"load_n": task.load_n, "place": task.place, "tilt_deg": task.tilt_deg}


def _of_weights(conditions: BenchConditions) -> dict[str, Any]:
    """How masses became forces; empty if a reference cell measured the force."""
    return {
        "gravity_m_s2": conditions.g_m_s2,
        "gravity_standard_uncertainty_m_s2": conditions.u_gravity_m_s2,
        "gravity_from": conditions.gravity_from,
        "buoyancy": "air 1.2 kg/m³, weights 8000 kg/m³: forces are 0.99985 of mass times gravity",
    }


def budget(uncertainty: Uncertainty, load_n: float) -> list[dict[str, Any]]:
    """The lines of a budget at one load, largest first, with each one's part of the variance."""
    terms = uncertainty.at(load_n)
    total = sum(term.absolute_n**2 for term in terms) or 1.0
    lines = [
        {
            "source": term.name,
            "standard_uncertainty_n": term.absolute_n,
            "degrees_of_freedom": term.dof,
            "distribution": term.shape,
            "part_of_variance": term.absolute_n**2 / total,
            "note": term.note,
        }
        for term in terms
    ]
    return sorted(lines, key=lambda line: -float(line["standard_uncertainty_n"]))


def _cell(name: str, cell: CalibratedCell, made: Made, *, cell_class: CellClass, intervals: int) -> dict[str, Any]:
    channel = made.calibration.channel(name)
    uncertainty = channel.uncertainty or Uncertainty(())
    top_n = channel.span[1] if channel.span else 0.0
    loads = np.linspace(0.1, 1.0, 10) * top_n
    # from both sides of each step of the error limits, which lie at 500 and 2000 intervals
    steps = [i * top_n / intervals + side for i in (500, 2000) for side in (0.0, 1e-9 * top_n) if i < intervals]
    curve = sorted({0.0, top_n, *steps})
    shown_n = cell.fit.at(cell.readings.deflection)
    return {
        "channel": name,
        "coefficients_n_from_counts": list(channel.coefficients),
        "zero_counts": channel.zero_counts,
        "span_n": list(channel.span or ()),
        "points": [
            {"load_n": float(load), "counts_above_zero": float(counts), "error_n": float(shown - load)}
            for load, counts, shown in zip(cell.readings.load_n, cell.readings.deflection, shown_n, strict=True)
        ],
        "limits": [
            {
                "load_n": float(load),
                "permissible_error_n": permissible_error_n(
                    float(load), cell_class=cell_class, capacity_n=top_n, intervals=intervals
                ),
            }
            for load in curve
        ],
        "limits_are": f"OIML R60 class {cell_class}, {intervals} intervals over the span, for comparison only",
        "residual_sd_n": cell.fit.residual_sd,
        "figures": asdict(cell.figures),
        "described": asdict(cell.described),
        "off_axis_relative": made.off_axis.get(name),
        "tare": None if channel.tare is None else asdict(channel.tare),
        "budget_at_n": top_n / 2.0,
        "budget": budget(uncertainty, top_n / 2.0),
        "expanded": [_expanded(uncertainty, float(load)) for load in loads],
    }


def _expanded(uncertainty: Uncertainty, load_n: float) -> dict[str, Any]:
    found = expanded(uncertainty, load_n)
    return {
        "load_n": load_n,
        "expanded_n": found.expanded_n,
        "coverage_factor": found.coverage_factor,
        "degrees_of_freedom": None if np.isinf(found.dof) else found.dof,
        "confidence": found.confidence,
    }


def _crosstalk(made: Made) -> dict[str, Any] | None:
    found = made.crosstalk
    if found is None:
        return None
    loaded, shows, fraction = found.worst
    return {
        "cells": list(found.names),
        "shown_per_load": found.matrix.tolist(),
        "correction": found.correction.tolist(),
        "standard_uncertainty": found.standard_uncertainty.tolist() if found.dof > 0 else None,
        "largest": {"load_on": loaded, "shows_on": shows, "fraction": fraction},
    }
