"""A curve through calibration points with uncertain loads, and the uncertainty of its coefficients. Three kinds of
errors act on the coefficients:

    scatter  of the readings about the curve, of unknown size
    series   zero and slope differ from series to series, by unknown sizes
    loads    errors of the weights, of the size stated; those of one set err together and do not show in the residuals

For each size of scatter and series, generalised least squares has a curve and normal errors: points whose loads are
less well known count less, and shared errors count once. What is stated is the mixture over all these sizes. Where
loads were reached both ways, the opening of the hysteresis loop is fitted too and takes a degree of freedom.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from daq.measure.calibration.coverage import coverage_factor
from daq.measure.calibration.fit import Fit, powers_of_x
from daq.measure.calibration.loop_fit import fit_beside_loop
from daq.measure.calibration.points import Points
from daq.measure.calibration.repeats import loop_shape
from daq.measure.calibration.scatter import MixedErrors, scatter
from daq.values import Array, Bools

Weights = Literal["shared", "per-load", "independent"]
"""Which loads err together where no column says so: all; those of one size, whenever they were put on; none."""
TOO_SMALL = 0.025
"""Probability of residuals so small by chance (chi-square)."""


@dataclass(frozen=True, eq=False, slots=True)
class PointFit:
    """reading = sum(coefficients[i] load^i) over n points."""

    plain: Fit
    """By ordinary least squares, with loads treated as exact; of the readings less the hysteresis."""
    coefficients: Array
    """(p,), constant first."""
    residuals: Array
    """(n,)."""
    covariance: Array
    """(p, p), of all errors together, where scatter and series have their typical size."""
    expanded: Array
    """(p,) half-widths of 95 % intervals, over all sizes that scatter and series may have."""
    scatter: Array
    """(p,) standard uncertainty of each coefficient from the scatter."""
    series: Array | None
    """None: there are no separate series."""
    loads: Array
    overstated: bool = False
    """The residuals are smaller than the loads' errors, as stated, would leave."""

    @property
    def standard_uncertainties(self) -> Array:
        return np.asarray(np.sqrt(np.diagonal(self.covariance)))


def point_fit(points: Points, order: int, weights: Weights = "shared") -> PointFit:
    """The fit. Raises FitError as `fit_beside_loop`."""
    from scipy.special import chdtr

    shape, p = loop_shape(points), order + 1
    plain, _ = fit_beside_loop(points.load_n, points.reading, order, shape)
    t, off = np.asarray((points.load_n - plain.centre) / plain.half_width), plain.residuals
    each = _each_series(points, t)
    if points.u_load_n is None and not each:
        u, nothing = plain.standard_uncertainties, np.zeros(p)
        expanded = u * coverage_factor(plain.dof)
        return PointFit(plain, plain.coefficients, off, plain.covariance, expanded, u, None, nothing)
    design, loads = _design(t, order, shape), _of_loads(points, plain, t, weights)
    least = max(1e-12 * float(np.diagonal(loads).max()), 1e-18 * float(np.mean(points.reading**2)))
    sizes, chi_square = scatter(off, _with_series(design, t, each), loads, least)

    variance = np.append(sizes.variance, sizes.typical)
    to_x = np.eye(design.shape[1])
    to_x[:p, :p] = powers_of_x(plain.centre, plain.half_width, order)
    solve = to_x @ _solved(design, loads, variance)
    by_scatter = variance[:, None, None] * (solve @ np.swapaxes(solve, 1, 2))
    by_loads, by_series = solve @ loads @ np.swapaxes(solve, 1, 2), np.zeros_like(to_x)
    mixture = MixedErrors(sizes.probability, _diagonals(by_scatter + by_loads)[:-1], np.arange(len(sizes.variance)))
    if each:
        dof, (square_sum, within, acts) = len(each) - 1, _of_series(points.load_n, off, loads, each, variance, solve)
        for power in (0, 1):
            of_this = acts[:-1, power].diagonal(axis1=1, axis2=2)
            mixture = mixture.with_groups(square_sum[:-1, power], dof, within[:-1, power], of_this)
            by_series += max(square_sum[-1, power] / dof - within[-1, power], 0.0) * acts[-1, power]
    shift, expanded = mixture.about(solve[:-1] @ off)
    return PointFit(
        plain=plain,
        coefficients=plain.coefficients + shift[:p],
        residuals=off - _design(points.load_n, order, shape) @ shift,
        covariance=(by_scatter[-1] + by_series + by_loads[-1])[:p, :p],
        expanded=expanded[:p],
        scatter=_roots(by_scatter[-1])[:p],
        series=_roots(by_series)[:p] if each else None,
        loads=_roots(by_loads[-1])[:p],
        overstated=bool(chdtr(sizes.dof, chi_square) < TOO_SMALL),
    )


def _design(x: Array, order: int, shape: Array | None) -> Array:
    """(n, order + 1) powers of x, and the hysteresis loop where there is one."""
    powers = np.vander(x, order + 1, increasing=True)
    return powers if shape is None else np.column_stack([powers, shape])


def _of_loads(points: Points, plain: Fit, t: Array, weights: Weights) -> Array:
    """(n, n) covariance of the readings due to the loads' errors."""
    if points.u_load_n is None:
        return np.zeros((len(t), len(t)))
    slopes = sum(i * plain.scaled[i] * t ** (i - 1) for i in range(1, len(plain.scaled))) / plain.half_width
    names = {"shared": np.zeros(len(t)), "per-load": points.load_n, "independent": np.arange(len(t))}
    of_one = np.array(points.weights) if points.weights is not None else names[weights]
    errors = slopes * points.u_load_n
    return np.asarray(np.outer(errors, errors) * (of_one[:, None] == of_one))


def _each_series(points: Points, t: Array) -> list[Bools]:
    """Which points make up each series that determines a zero and a slope; none if fewer than two do."""
    numbers = [] if points.series is None else [points.series == one for one in np.unique(points.series)]
    each = [mine for mine in numbers if np.count_nonzero(mine) > 2 and np.ptp(t[mine]) > 0.0]
    return each if len(each) > 1 else []


def _with_series(design: Array, t: Array, each: list[Bools]) -> Array:
    """(n, p + 2 s) the design with a zero and a slope for each of s series of at least 3 points; a curvature that all
    share leaves a residual."""
    return np.column_stack([design, *each, *(mine * t for mine in each)])


def _of_series(
    load_n: Array, off: Array, loads: Array, each: list[Bools], variance: Array, solve: Array
) -> tuple[Array, Array, Array]:
    """What the series' own zeros (0) and slopes (1) say, for each of k sizes of the scatter: (k, 2) sum of squares
    about their mean, (k, 2) variance that scatter and loads alone give them, and (k, 2, p, p) covariance of the
    coefficients for a unit of variance between the series."""
    number = len(each)
    figures, mean = np.zeros((number, len(variance), 2)), np.zeros((len(variance), 2, len(load_n)))
    alone, acts = np.zeros((len(variance), 2)), np.zeros((len(variance), 2, *[solve.shape[1]] * 2))
    for i, mine in enumerate(each):
        powers, own = np.vander(load_n[mine], 2, increasing=True), loads[np.ix_(mine, mine)]
        tells, act = _solved(powers, own, variance), solve[:, :, mine] @ powers
        figures[i], mean[:, :, mine] = tells @ off[mine], tells / number
        alone += _spread(tells, own, variance)
        acts += np.einsum("kix,kjx->kxij", act, act)
    square_sum = ((figures - figures.mean(axis=0)) ** 2).sum(axis=0)
    return square_sum, (alone - number * _spread(mean, loads, variance)) / (number - 1), acts


def _spread(tells: Array, loads: Array, variance: Array) -> Array:
    """(k, p) variances of figures made from readings by tells (k, p, n)."""
    return np.asarray(variance[:, None] * (tells**2).sum(axis=2) + (tells @ loads * tells).sum(axis=2))


def _solved(design: Array, loads: Array, variance: Array) -> Array:
    """(k, p, n): coefficients from readings by generalised least squares, for each variance of the scatter."""
    of_axes, axes = np.linalg.eigh(loads)
    root = np.sqrt(variance[:, None] + np.maximum(of_axes, 0.0))
    whitened = (axes.T @ design) / root[:, :, None]
    return np.asarray(np.linalg.pinv(whitened) / root[:, None, :] @ axes.T)


def _diagonals(matrices: Array) -> Array:
    return np.asarray(np.diagonal(matrices, axis1=-2, axis2=-1))


def _roots(covariance: Array) -> Array:
    return np.asarray(np.sqrt(np.maximum(_diagonals(covariance), 0.0)))
