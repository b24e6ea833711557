"""One cell calibrated: series of known loads up and down become a channel with its budget.

Readings count from the zero reading of their series, and the curve goes through zero, as in use. The figures are
estimated so that they mean a standard uncertainty, neither the best nor the worst case:

    sensitivity    spread of the slopes of the series, for one more loading than those averaged
    repeatability  scatter of a reading and of the zero it counts from: that within the series, times root 2
    linearity      root mean square distance of the levels' means from the curve
    hysteresis     rising and falling readings part; anything between is as likely
    creep          the change over the time of the creep test; any part of it may have happened
    zero           change of the zero by a series; any part of it may have happened
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration.fit import FitError, ZeroFit, fit_through_zero
from daq.measure.calibration.model import Channel, TiltTare
from daq.measure.calibration.terms import Described, described
from daq.measure.calibration.uncertainty import Term, Uncertainty
from daq.measure.calibration.weights import Weights, buoyancy_relative
from daq.values import Array, Bools, Ints

ROOT_3 = math.sqrt(3.0)


class CellError(ValueError):
    """These readings do not make a calibration of a cell; the text says what is missing."""


@dataclass(frozen=True, eq=False, slots=True)
class Readings:
    """n readings of one cell, in the order taken. Every series begins with a reading at zero load."""

    load_n: Array
    counts: Array
    """Mean counts of each reading."""
    series: Ints
    falling: Bools
    """Reached by taking weight off; the zero at the end of a series too."""
    u_load_n: Array | None = None
    """Standard uncertainty of each load beside the others; None: all alike."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the readings themselves do not show."""

    weights: Weights
    u_gravity_m_s2: float
    g_m_s2: float
    by_weights: bool = True
    """False: a reference cell tells the force itself; gravity and air do not come in."""
    resolution_counts: float = 1.0
    temperature_half_range_k: float = 0.0
    """The jig is used within so much of the temperature of the calibration."""
    sensitivity_per_k: float = 0.0
    """Temperature effect on sensitivity over the output."""
    sensitivity_from: str = ""
    """Where that figure comes from, for the budget."""
    gravity_from: str = ""
    """Where gravity comes from, for the certificate."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was found of one cell, newtons unless said otherwise."""

    series: int
    levels: int
    sensitivity_relative: float
    """Standard deviation of the series' slopes over their mean."""
    repeatability_n: float
    repeatability_dof: int
    linearity_n: float
    hysteresis_n: float
    """Root mean square over the levels of half the difference between falling and rising."""
    zero_return_n: float
    """Root mean square over the series."""
    creep_relative: float
    """Of the load, over the time of the creep test."""
    creep_from: str = ""
    """Which test, or what stands in for one."""
    dead_load_return: float | None = None
    """Change of the zero over the creep test, over the output at its load; None: not read."""


@dataclass(frozen=True, eq=False, slots=True)
class CalibratedCell:
    """The channel as a Calibration keeps it, with the fit and figures it came from."""

    channel: Channel
    fit: ZeroFit
    """Load in N from counts above zero."""
    deflection: Array
    """(n,) counts above the zero of each reading's series."""
    figures: Figures
    described: Described


def calibrated(
    name: str,
    readings: Readings,
    order: int,
    conditions: Conditions,
    *,
    creep_relative: float,
    creep_from: str = "",
    dead_load_return: float | None = None,
) -> CalibratedCell:
    """A cell's channel from its readings; cross-talk and tilt tare come from other placements, see `with_assembly`.

    creep_relative: change over the creep test, over the load; creep_from: which test. dead_load_return: change of
    the zero over it, over the output at its load. Raises CellError for readings that lack a zero, a second series or
    falling loads, FitError for too few loads.
    """
    _check(readings)
    zeros = _zeros(readings)
    deflection = readings.counts - zeros
    fit = _fitted(deflection, readings, order)
    figures = replace(
        _figures(deflection, readings, fit),
        creep_relative=creep_relative,
        creep_from=creep_from,
        dead_load_return=dead_load_return,
    )
    per_count = abs(float(fit.coefficients[0]))
    channel = Channel(
        name=name,
        kind="force",
        coefficients=_on_raw_counts(fit.coefficients, float(np.mean(np.unique(zeros)))),
        zero_counts=float(np.mean(np.unique(zeros))),
        span=(0.0, float(readings.load_n.max())),
        span_counts=(float(readings.counts.min()), float(readings.counts.max())),
        uncertainty=Uncertainty(
            _terms(figures, conditions, per_count, float(readings.load_n.max())),
            _spread(fit, figures.repeatability_n),
            float(figures.repeatability_dof),
        ),
    )
    words = described(readings.load_n, deflection, readings.series, readings.falling)
    return CalibratedCell(channel, fit, deflection, figures, words)


def with_assembly(channel: Channel, added: Sequence[Term] = (), *, tare: TiltTare | None = None) -> Channel:
    """The channel on its jig: the terms its assembly adds to the budget, and the tilt tare with its own."""
    if channel.uncertainty is None:
        raise CellError(f"channel '{channel.name}' has no budget to add to; calibrate the cell first")
    of_tare = [] if tare is None else [Term("tilt tare", absolute_n=tare.residual_sd_n, note="scatter about the tare")]
    terms = (*channel.uncertainty.terms, *added, *of_tare)
    return replace(channel, tare=tare, uncertainty=replace(channel.uncertainty, terms=terms))


def _check(readings: Readings) -> None:
    number = len(readings.load_n)
    if not len(readings.counts) == len(readings.series) == len(readings.falling) == number:
        raise CellError(f"expected counts, series and direction of {number} loads, got other numbers of them")
    if not (np.isfinite(readings.counts).all() and np.isfinite(readings.load_n).all()):
        raise CellError("expected finite loads and counts; a reading is missing or not a number")
    series = np.unique(readings.series)
    if len(series) < 2:
        raise CellError(f"expected at least 2 series, so that repeats can be compared, got {len(series)}")
    for one in series:
        first = int(np.flatnonzero(readings.series == one)[0])
        if readings.load_n[first] != 0.0:
            raise CellError(f"series {one}: expected a reading at zero load first, got {readings.load_n[first]:g} N")
    if not (readings.falling & (readings.load_n > 0.0)).any():
        raise CellError("expected loads on the way down too, which show hysteresis, got none")


def _zeros(readings: Readings) -> Array:
    """(n,) the reading each counts from: the first of its series."""
    return np.array([readings.counts[int(np.flatnonzero(readings.series == one)[0])] for one in readings.series])


def _fitted(deflection: Array, readings: Readings, order: int) -> ZeroFit:
    plain = fit_through_zero(deflection, readings.load_n, order)
    if readings.u_load_n is None or not readings.u_load_n.any():
        return plain
    variance = plain.residual_sd**2 + readings.u_load_n**2
    return fit_through_zero(deflection, readings.load_n, order, weights=float(np.mean(variance)) / variance)


def _figures(deflection: Array, readings: Readings, fit: ZeroFit) -> Figures:
    """All but creep, of which the series say nothing."""
    load, off = readings.load_n, fit.residuals
    series = np.unique(readings.series)
    loaded = load > 0.0
    keys = np.column_stack([load[loaded], readings.falling[loaded]])
    groups, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.reshape(-1)
    scatter, dof = _scatter(off[loaded], load[loaded], group, readings.series[loaded])
    means = np.bincount(group, off[loaded]) / np.bincount(group)
    slopes = [
        float((load[mine] * deflection[mine]).sum() / (load[mine] ** 2).sum())
        for mine in (readings.series == one for one in series)
    ]
    noise = scatter**2 / (2 * len(series))
    levels, both = _by_level(groups, means)
    halves = 0.5 * (both[:, 1] - both[:, 0])
    middles = both.mean(axis=1)
    returns = [_zero_return(off[mine], load[mine]) for mine in (readings.series == one for one in series)]
    spare = max(len(levels) - len(fit.coefficients), 1)
    return Figures(
        series=len(series),
        levels=len(levels),
        sensitivity_relative=float(np.std(slopes, ddof=1) / abs(np.mean(slopes))),
        repeatability_n=math.sqrt(2.0) * scatter,
        repeatability_dof=dof,
        linearity_n=math.sqrt(max(float((middles**2).sum()) / spare - noise, 0.0)),
        hysteresis_n=math.sqrt(max(float((halves**2).mean()) - noise, 0.0)) if len(halves) else 0.0,
        zero_return_n=math.sqrt(float(np.mean(np.square(returns)))),
        creep_relative=0.0,
    )


def _scatter(off: Array, load: Array, group: Ints, series: Ints) -> tuple[float, int]:
    """Standard deviation of readings within their series, and its degrees of freedom.

    What the levels have in common, and each series' zero and slope, are taken out.
    """
    of_group = (group[:, None] == np.unique(group)).astype(np.float64)
    of_series = (series[:, None] == np.unique(series)[1:]).astype(np.float64)
    design = np.hstack([of_group, of_series, of_series * load[:, None] / float(load.max())])
    solved, _, rank, _ = np.linalg.lstsq(design, off, rcond=None)
    dof = len(off) - int(rank)
    if dof < 1:
        raise FitError("too few repeats: the same loads, up and down, are needed in at least 2 series")
    rest = off - design @ solved
    return math.sqrt(float(rest @ rest) / dof), dof


def _by_level(groups: Array, means: Array) -> tuple[Array, Array]:
    """(m,) loads read both rising and falling, and (m, 2) their mean distances from the curve, rising first.

    A load read in one direction only (the highest) stands for both.
    """
    levels = np.unique(groups[:, 0])
    both = np.empty((len(levels), 2))
    for i, level in enumerate(levels):
        here = groups[:, 0] == level
        rising, falling = means[here & (groups[:, 1] == 0.0)], means[here & (groups[:, 1] == 1.0)]
        both[i] = (rising[0] if len(rising) else falling[0], falling[0] if len(falling) else rising[0])
    return levels, both


def _zero_return(off: Array, load: Array) -> float:
    """Distance from zero of the last zero reading of a series; 0 when it was not read."""
    return float(off[-1]) if load[-1] == 0.0 and len(load) > 1 else 0.0


def _terms(figures: Figures, conditions: Conditions, per_count: float, top_n: float) -> tuple[Term, ...]:
    series = figures.series
    reference = "reference weights" if conditions.by_weights else "reference cell"
    seen = {
        value: "" if value else "; not seen above the scatter" for value in (figures.linearity_n, figures.hysteresis_n)
    }
    temperature = ", ".join(filter(None, (f"±{conditions.temperature_half_range_k:g} K", conditions.sensitivity_from)))
    return (
        Term(reference, relative=conditions.weights.relative, shared=True, shape="rectangular",
             note=conditions.weights.note),
        *(_of_weights(conditions) if conditions.by_weights else ()),
        Term("sensitivity", relative=figures.sensitivity_relative * math.sqrt(1.0 + 1.0 / series),
             dof=float(series - 1), note=f"{series} series"),
        Term("repeatability", absolute_n=figures.repeatability_n, dof=float(figures.repeatability_dof),
             note="readings and zero"),
        Term("resolution", absolute_n=conditions.resolution_counts * per_count / math.sqrt(6.0), shape="triangular",
             note="of reading and zero"),
        Term("linearity", absolute_n=figures.linearity_n, note=f"{figures.levels} levels" + seen[figures.linearity_n]),
        Term("hysteresis", absolute_n=figures.hysteresis_n / ROOT_3, shape="rectangular",
             note="rising and falling" + seen[figures.hysteresis_n]),
        Term("creep", relative=abs(figures.creep_relative) / ROOT_3, shape="rectangular", note=figures.creep_from),
        _of_zero(figures, top_n),
        Term("temperature", relative=abs(conditions.sensitivity_per_k) * conditions.temperature_half_range_k / ROOT_3,
             shape="rectangular", note=temperature),
    )  # fmt: skip


def _of_zero(figures: Figures, top_n: float) -> Term:
    """A rider sits as long as a creep test lasts: the larger of what a series and what the test left at zero."""
    after_creep_n = abs(figures.dead_load_return or 0.0) * top_n
    zero_n, note = max((figures.zero_return_n, "change over a series"), (after_creep_n, "change over the creep test"))
    return Term("zero", absolute_n=zero_n / ROOT_3, shape="rectangular", note=note)


def _of_weights(conditions: Conditions) -> tuple[Term, Term]:
    return (
        Term("gravity", relative=conditions.u_gravity_m_s2 / conditions.g_m_s2, shared=True,
             note=f"{conditions.g_m_s2:.5f} m/s²"),
        Term("air buoyancy", relative=buoyancy_relative(), shared=True, shape="rectangular",
             note="air 1.2 ± 0.1 kg/m³, weights 8000 kg/m³"),
    )  # fmt: skip


def _spread(fit: ZeroFit, scatter_n: float) -> tuple[float, float, float]:
    """Variances and covariance of the coefficients as those of a load: counts replaced by newtons.

    Only scatter averages out in a fit. What the curve misses the same way in every series, bend and hysteresis, also
    swells the residuals but has terms of its own, so the covariance is that for the scatter of the readings.
    """
    slope = float(fit.coefficients[0])
    covariance = fit.covariance * ((scatter_n / fit.residual_sd) ** 2 if fit.residual_sd else 0.0)
    v11 = float(covariance[0, 0]) / slope**2
    if len(fit.coefficients) == 1:
        return v11, 0.0, 0.0
    return v11, float(covariance[0, 1]) / slope**3, float(covariance[1, 1]) / slope**4


def _on_raw_counts(through_zero: Array, zero: float) -> tuple[float, ...]:
    """Coefficients of c from those of c - zero."""
    first = float(through_zero[0])
    second = float(through_zero[1]) if len(through_zero) > 1 else 0.0
    constant = zero * (second * zero - first)
    return (constant, first - 2.0 * second * zero, second)[: len(through_zero) + 1]
