"""The budget of one cell, from what its series showed and what they cannot show. Each figure is estimated as a standard
uncertainty, neither the best nor the worst case:

    sensitivity    spread of the slopes of the series, for one more loading than those averaged
    repeatability  scatter of a reading and of the zero it counts from: that within the series, times root 2
    linearity      distance of the levels' means from the curve, level by level
    hysteresis     rising and falling readings part, level by level; anything between is as likely
    creep          the change over the time of the creep test; most of it is there soon
    zero           change of the zero by a series; any part of it may have happened

Scatter also inflates the spread of the slopes. That spread is used as it is, with its few degrees of freedom, and the
scatter it contains is left out of repeatability and fit, so that nothing counts twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.measure.calibration.fit import ZeroFit
from daq.measure.calibration.series import CellReadings, Figures, above
from daq.measure.calibration.uncertainty import Term, Uncertainty
from daq.measure.calibration.weights import Weights, buoyancy_relative

ROOT_3 = math.sqrt(3.0)
UNSEEN = "; not seen above the scatter"


@dataclass(frozen=True, slots=True)
class BenchConditions:
    """What the readings themselves do not show."""

    weights: Weights
    u_gravity_m_s2: float
    g_m_s2: float
    by_weights: bool = True
    """False: a reference cell tells the force itself; gravity and air do not come in."""
    resolution_counts: float = 1.0
    temperature_half_range_k: float = 0.0
    """The jig is used within this range of the temperature of the calibration."""
    sensitivity_per_k: float = 0.0
    """Temperature effect on sensitivity over the output."""
    sensitivity_from: str = ""
    """Where that figure comes from, for the budget."""
    gravity_from: str = ""
    """Where gravity comes from, for the certificate."""


def budget_of(readings: CellReadings, fit: ZeroFit, found: Figures, conditions: BenchConditions) -> Uncertainty:
    """All terms of a cell that follow from its own readings and the conditions."""
    per_count, top_n = abs(float(fit.coefficients[0])), float(readings.load_n.max())
    terms = (*_of_reference(conditions), *_of_series(found), *_of_use(found, conditions, per_count, top_n))
    return Uncertainty(terms, _of_fit(fit, readings, found), float(found.repeatability_dof))


def _of_reference(conditions: BenchConditions) -> tuple[Term, ...]:
    weights = conditions.weights
    if not conditions.by_weights:
        return (Term("reference cell", relative=weights.relative, shared=True, shape="rectangular", note=weights.note),)
    return (
        Term("reference weights", relative=weights.relative, shared=True, shape="rectangular", note=weights.note),
        Term("gravity", relative=conditions.u_gravity_m_s2 / conditions.g_m_s2, shared=True,
             note=f"{conditions.g_m_s2:.5f} m/s²"),
        Term("air buoyancy", relative=buoyancy_relative(), shared=True, shape="rectangular",
             note="air 1.2 ± 0.1 kg/m³, weights 8000 kg/m³"),
    )  # fmt: skip


def _of_series(found: Figures) -> tuple[Term, ...]:
    loads_n = (0.0, *(load_n for load_n, _, _ in found.by_level))
    beside = above(found.repeatability_n, (found.sensitivity_scatter * np.array(loads_n)) ** 2)
    return (
        Term("sensitivity", relative=found.sensitivity_relative * math.sqrt(1.0 + 1.0 / found.series),
             dof=float(found.series - 1), note=f"{found.series} series"),
        Term("repeatability", curve=tuple(zip(loads_n, beside.tolist(), strict=True)),
             dof=float(found.repeatability_dof), note="readings and zero, beside the spread of the series"),
        Term("linearity", curve=((0.0, 0.0), *((load_n, off_n) for load_n, off_n, _ in found.by_level)),
             note=f"{found.levels} levels" + ("" if found.linearity_n else UNSEEN)),
        Term("hysteresis", curve=tuple((load_n, half_n / ROOT_3) for load_n, _, half_n in found.by_level), closed=True,
             shape="rectangular", note="rising and falling" + ("" if found.hysteresis_n else UNSEEN)),
    )  # fmt: skip


def _of_use(found: Figures, conditions: BenchConditions, per_count: float, top_n: float) -> tuple[Term, ...]:
    warmer_k, per_k = conditions.temperature_half_range_k, abs(conditions.sensitivity_per_k)
    # a rider sits as long as a creep test lasts: the larger of what a series and what the test left at zero
    after_creep_n = float(above((found.dead_load_return or 0.0) * top_n, found.repeatability_n**2))
    zero_n, zero_from = max((found.zero_return_n, "a series"), (after_creep_n, "the creep test"))
    return (
        Term("resolution", absolute_n=conditions.resolution_counts * per_count / math.sqrt(6.0), shape="triangular",
             note="of reading and zero"),
        Term("creep", relative=abs(found.creep_relative) / math.sqrt(2.0), shape="arc sine", note=found.creep_from),
        Term("zero", absolute_n=zero_n / ROOT_3, shape="rectangular", note=f"change over {zero_from}"),
        Term("temperature", relative=per_k * warmer_k / ROOT_3, shape="rectangular",
             note=", ".join(filter(None, (f"±{warmer_k:g} K", conditions.sensitivity_from)))),
    )  # fmt: skip


def _of_fit(fit: ZeroFit, readings: CellReadings, found: Figures) -> tuple[float, float, float]:
    """Variances and covariance of the coefficients in terms of load: counts replaced by newtons. Only scatter averages
    out in a fit. Systematic misfit that is the same in every series, non-linearity and hysteresis, also inflates the
    residuals but has terms of its own, so the covariance is that for the scatter of the readings, including those at
    zero, which all readings of a series share.
    """
    if not fit.residual_sd:
        return 0.0, 0.0, 0.0
    slope, order = float(fit.coefficients[0]), len(fit.coefficients)
    design = np.column_stack([readings.deflection ** (i + 1) for i in range(order)])
    answers = fit.covariance / fit.residual_sd**2 @ design.T
    variance = answers @ answers.T
    for mine in readings.each:
        for part in (1.0 - readings.time[mine], readings.time[mine]):
            of_zero = answers[:, mine] @ part
            variance += np.outer(of_zero, of_zero)
    powers = np.array([[slope ** (i + j + 2) for i in range(order)] for j in range(order)])
    scaled = 0.5 * found.repeatability_n**2 * variance / powers
    v12, v22 = (float(scaled[0, 1]), float(scaled[1, 1])) if order > 1 else (0.0, 0.0)
    least = v12 * v12 / v22 if v22 else 0.0
    return max(float(scaled[0, 0]) - found.sensitivity_scatter**2 / found.series, least), v12, v22
