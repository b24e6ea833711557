"""A table of points fitted and judged, as plain content: what `calibrate fit` prints.

The reading is fitted against the load, which is set by weights and is the better known of the two.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from daq.measure.calibration import terms
from daq.measure.calibration.blunders import blunders, unit_factor
from daq.measure.calibration.fit import Fit, fit_polynomial
from daq.measure.calibration.point_fit import Weights, point_fit
from daq.measure.calibration.points import (
    AIR_KG_M3,
    Points,
    PointsError,
    buoyancy_factor,
    parse_points,
)
from daq.measure.calibration.repeats import hysteresis, likely_loop, loop_shape, repeatability
from daq.physics import STANDARD_G_M_S2

OVERSTATED = (
    "u_load_n: the readings scatter less than loads that err by as much, each on its own, would let them; the errors "
    "are kept as stated. If the loads share them, say so (--weights shared); if not, they are stated too large"
)

PER_DIGIT = 1e6
"""Readings are told apart to the sixth digit behind the point."""
HIDES = 0.5
"""Over a step: scatter of readings below which steps hide some of it. What rounding alone leaves is 0.29 of a step."""
COARSE = 5e-4
"""Smaller steps, over the span of the readings, hide less than a calibration needs to know; our own choice."""
LEAST_RISE = 1e-9
"""Over the span of the readings: a rise below this is what rounding leaves of none."""


def fit_report(
    text: str,
    order: int,
    *,
    g_m_s2: float = STANDARD_G_M_S2,
    air_kg_m3: float = AIR_KG_M3,
    expected_per_n: float | None = None,
    weights: Weights | None = None,
) -> dict[str, Any]:
    """Coefficients (reading from load in N, constant first), their uncertainties and what the residuals say. If the
    direction of each point is known, the curve runs midway between rising and falling, and the residuals exclude the
    hysteresis loop. expected_per_n: change of the reading per newton by the cell's data sheet; with it, kilograms typed
    as newtons throughout are found too. weights: which loads share errors, if no column says so; None: all. If given
    without effect, it is among the warnings. Every value is a number, text, list, table or None, none of them NaN or
    infinite. Raises PointsError (a ValueError) naming lines, or FitError (a ValueError) for points that allow no such
    fit.
    """
    if order not in (1, 2):
        raise PointsError(f"order: expected 1 (a line) or 2 (a parabola), got {order!r}")
    points = parse_points(text, g_m_s2=g_m_s2, air_kg_m3=air_kg_m3)
    apart, repeats = hysteresis(points), repeatability(points)
    _check_alive(points)
    found = point_fit(points, order, weights or "shared")
    _check_follows(points, found.plain)
    _check_standing_still(points, found.plain)
    _check_copied(points)
    warnings = [*_judged(points, order, found.plain, expected_per_n), *_copies(points)]
    warnings += _within_a_step(points, found.plain)
    warnings += [*[OVERSTATED] * found.overstated, *_passed_over(points, weights)]
    plain, slope = found.plain, abs(float(found.plain.scaled[1] / found.plain.half_width))
    return {
        "model": "reading = " + " + ".join(("b0", "b1 load_n", "b2 load_n^2")[: order + 1]),
        "order": order,
        "points": len(points.load_n),
        "degrees_of_freedom": plain.dof,
        "coefficients": found.coefficients.tolist(),
        "standard_uncertainties": found.standard_uncertainties.tolist(),
        "expanded_uncertainties": found.expanded.tolist(),
        "uncertainty_from": {
            "scatter": found.scatter.tolist(),
            "series": None if found.series is None else found.series.tolist(),
            "loads": None if points.u_load_n is None else found.loads.tolist(),
        },
        "covariance": found.covariance.tolist(),
        "residual_sd": float(plain.residual_sd),
        "r_squared": _finite(float(plain.r_squared)),
        "f": _finite(float(plain.f)),
        "ss_regression": float(plain.ss_regression),
        "ss_residual": float(plain.ss_residual),
        "residuals": found.residuals.tolist(),
        "load_n": points.load_n.tolist(),
        "lack_of_fit": _lack_of_fit(points, order),
        "hysteresis": apart and {"largest_n": apart.largest / slope, "of_rated_output": _finite(apart.of_rated)},
        "repeatability": repeats
        and {"sd_n": repeats.sd / slope, "degrees_of_freedom": repeats.dof, "largest_n": repeats.largest / slope},
        "lower_limit_n": terms.lower_limit_n(plain),
        "gravity_m_s2": g_m_s2 if points.from_mass else None,
        "buoyancy_factor": buoyancy_factor(air_kg_m3) if points.from_mass else None,
        "weighted": points.u_load_n is not None,
        "weights": None if points.u_load_n is None else "by column" if points.weights else weights or "shared",
        "columns_passed_over": list(points.ignored),
        "warnings": warnings,
    }


def _judged(points: Points, order: int, fit: Fit, expected_per_n: float | None) -> list[str]:
    """Warnings about the points. Raises PointsError for a certain blunder."""
    falling = None if loop_shape(points) is None else np.array(points.falling)
    found = blunders(points.load_n, points.reading - likely_loop(points), order, falling)
    named = [_line(points, i) for i in (*found.in_kilograms, *found.too_heavy)]
    if named:
        how = "smaller" if found.in_kilograms else "larger"
        raise PointsError(
            f"unit mix-up: loads of {'; '.join(named)} are a factor 9.8 {how} than the other points say; kilograms and "
            "newtons are mixed. Give all loads in one unit, load_n in newtons or mass_kg in kilograms"
        )
    if found.swapped is not None:
        first, second = (_line(points, i) for i in found.swapped)
        raise PointsError(
            f"wrong order: {first} and {second} fit the other points when their loads are exchanged. Exchange the "
            "loads if the weights were put on the other way round, or repeat the two points"
        )
    slope = float(fit.scaled[1] / fit.half_width)
    if expected_per_n is not None and (factor := unit_factor(slope, expected_per_n)) != 1.0:
        how = "kilograms in a column of newtons" if factor > 1.0 else "newtons in a column of kilograms"
        raise PointsError(
            f"unit mix-up: the reading changes by {slope:.6g} per newton, a factor {factor:.3g} from the expected "
            f"{expected_per_n:.6g}: {how}. Name the column by its unit, load_n or mass_kg"
        )
    return [
        f"{_line(points, i)}: the reading fits {fits_n:.6g} N; a weight forgotten or left on, or the fixture moved? "
        "Repeat this point"
        for i, fits_n in found.odd
    ]


def _check_alive(points: Points) -> None:
    """Refuse a cell that shows no load."""
    if len(points.reading) > 1 and not np.ptp(points.reading):
        raise PointsError("the reading is the same at every load: is the cell connected, and is it this channel?")


def _check_follows(points: Points, fit: Fit) -> None:
    """Refuse readings of which no load can be told."""
    if abs(float(fit.scaled[1])) <= LEAST_RISE * float(np.ptp(points.reading)):
        raise PointsError(
            "over all loads the reading neither rises nor falls: is it this channel, and each reading beside its load?"
        )


def _check_standing_still(points: Points, fit: Fit) -> None:
    """Refuse a cell that stays at one highest or lowest reading while the load grows."""
    rise = np.sign(fit.scaled[1])
    still = points.reading == (rise * points.reading).max() * rise
    load, reading = points.load_n, points.reading
    if np.count_nonzero(~still) < 3 or np.ptp(load[~still]) == 0.0:
        return
    others = fit_polynomial(load[~still], reading[~still], 1)
    missed = abs(float(others.scaled[1] / others.half_width)) * float(np.ptp(load[still]))
    if missed > max(0.02 * float(np.ptp(reading)), 6.0 * float(others.residual_sd)):
        raise PointsError(
            f"{'; '.join(_line(points, i) for i in np.flatnonzero(still))}: the reading stands still at "
            f"{reading[still][0]:.10g} while the load changes: the cell or its amplifier is saturated. Leave these "
            "points out or lower the gain"
        )


def _check_copied(points: Points) -> None:
    """Refuse a table that was pasted in twice: its copies would count as repeats."""
    rows = _rows(points)
    half = len(rows) // 2
    if len(rows) >= 6 and len(rows) % 2 == 0 and rows[:half] == rows[half:]:
        raise PointsError(
            f"duplicates: lines from {points.lines[half]} on repeat the first {half} points exactly; the table stands "
            "in the file twice. Leave the copy out"
        )


def _copies(points: Points) -> list[str]:
    rows = _rows(points)
    for column in (None if points.series is None else points.series.tolist(), points.falling):
        if column is not None:
            rows = [(*row, one) for row, one in zip(rows, column, strict=True)]
    twice = sorted({points.lines[i] for i, row in enumerate(rows) if row in rows[:i]})
    if not twice:
        return []
    said = "the same load and reading as an earlier line; a copy adds no knowledge"
    return [f"line {', '.join(map(str, twice))}: {said}"]


def _within_a_step(points: Points, fit: Fit) -> list[str]:
    """Of readings that come in steps too coarse to show their scatter: by what a step hides they err together."""
    from_first = np.round((points.reading - points.reading[0]) * PER_DIGIT)
    step = float(np.gcd.reduce(from_first.astype(np.int64))) / PER_DIGIT
    if float(fit.residual_sd) > HIDES * step or step < COARSE * float(np.ptp(points.reading)):
        return []
    step_n = step / abs(float(fit.scaled[1] / fit.half_width))
    return [
        f"all readings differ by multiples of {step:g} ({step_n:.2g} N) and scatter by less than half of that: what "
        "such steps hide is not in the uncertainties. Read more digits, or use loads that are no whole steps apart"
    ]


def _passed_over(points: Points, weights: Weights | None) -> list[str]:
    if weights is None or (points.u_load_n is not None and points.weights is None):
        return []
    lacks = points.u_load_n is None
    why = "no column u_load_n says by how much" if lacks else "the column weights says it point by point"
    return [f"--weights {weights}: passed over; it says which loads err together, but {why}"]


def _rows(points: Points) -> list[tuple[float, ...]]:
    return list(zip(points.load_n.tolist(), points.reading.tolist(), strict=True))


def _lack_of_fit(points: Points, order: int) -> dict[str, Any] | None:
    found = terms.lack_of_fit(points.load_n, points.reading, order, loop_shape(points))
    if found is None:
        return None
    return {
        "f": found.f,
        "degrees_of_freedom": [found.dof_lack, found.dof_pure],
        "p": found.p,
        "pure_error_sd": found.pure_error_sd,
    }


def _line(points: Points, index: Any) -> str:
    return f"line {points.lines[int(index)]} ({points.load_n[int(index)]:.6g} N)"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
