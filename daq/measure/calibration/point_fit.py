"""A curve through calibration points with uncertain loads, and the uncertainty of its coefficients. Three kinds of
errors act on the coefficients:

    scatter  of the readings about the curve
    series   zero and slope differ from series to series; known from as few of them as there are
    loads    errors of the weights; those of one set err together and do not show in the residuals

With generalised least squares, points with less well-known loads count less, and shared errors count once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from daq.measure.calibration.coverage import half_width
from daq.measure.calibration.fit import Fit, fit_polynomial, powers_of_x
from daq.measure.calibration.points import Points
from daq.values import Array

Weights = Literal["shared", "per-load", "independent"]
"""Which loads err together where no column says so: all; those of one size, whenever they were put on; none."""
TOO_SMALL = 0.025
"""Probability of residuals so small by chance (chi-square). With less of it, scatter as found, times Student's t for 2
to 60 degrees of freedom, would come to less than 1.1 standard uncertainties of errors as stated."""


@dataclass(frozen=True, eq=False, slots=True)
class PointFit:
    """reading = sum(coefficients[i] load^i) over n points."""

    plain: Fit
    """By ordinary least squares, with loads treated as exact."""
    coefficients: Array
    """(p,), constant first."""
    residuals: Array
    """(n,)."""
    covariance: Array
    """(p, p), of all errors together."""
    scatter: Array
    """(p,) standard uncertainty of each coefficient from the scatter, without the part contained in the series."""
    series: Array
    loads: Array
    scatter_dof: int
    series_dof: int | None
    """None: there are no separate series."""
    overstated: bool = False
    """The residuals are smaller than the loads' errors, as stated, would leave if each erred on its own."""

    @property
    def standard_uncertainties(self) -> Array:
        return np.asarray(np.sqrt(np.diagonal(self.covariance)))

    @property
    def expanded_uncertainties(self) -> list[float]:
        """Half-widths of 95 % intervals of the coefficients, never below their standard uncertainties.

        These keep the loads' errors as stated, while the scatter found may be far smaller by chance or because they are
        overstated; the interval then is that of the standard uncertainty.
        """
        standard = self.standard_uncertainties.tolist()
        least = [half_width([(u, None, "normal")]) for u in standard] if self.overstated else standard
        of_parts = [
            half_width([(a, float(self.scatter_dof), "normal"), (b, self.series_dof, "normal"), (c, None, "normal")])
            for a, b, c in zip(self.scatter.tolist(), self.series.tolist(), self.loads.tolist(), strict=True)
        ]
        return [max(pair) for pair in zip(of_parts, least, strict=True)]


def point_fit(points: Points, order: int, weights: Weights = "shared") -> PointFit:
    """The fit. Raises FitError as `fit_polynomial`.

    Scatter, and those load errors that show in the residuals, are scaled to the residuals and have their degrees of
    freedom, less one where the residuals tell the one from the other too. The scatter contained in the spread of the
    series is not counted again.
    """
    from scipy.special import chdtr

    plain = fit_polynomial(points.load_n, points.reading, order)
    if points.u_load_n is None and points.series is None:
        nothing = np.zeros(order + 1)
        by_scatter = plain.standard_uncertainties
        return PointFit(
            plain, plain.coefficients, plain.residuals, plain.covariance, by_scatter, nothing, nothing, plain.dof, None
        )
    t = np.asarray((points.load_n - plain.centre) / plain.half_width)
    design = np.vander(t, order + 1, increasing=True)
    one, reading, residual = np.eye(len(t)), points.reading, float(plain.ss_residual)
    onto = design @ np.linalg.pinv(design)
    shown, known = _of_loads(points, plain, t, onto, weights)
    seen = float(np.sum((one - onto) * (shown + known)))
    least = 1e-12 * float(np.diagonal(shown + known).max())  # readings without any: a matrix needs some to be solved
    scatter = max(max(residual - seen, 1e-3 * residual, 1e-18 * float(reading @ reading)) / plain.dof, least)
    half = np.linalg.cholesky(scatter * one + shown + known)
    solve = np.asarray(np.linalg.pinv(np.linalg.solve(half, design)) @ np.linalg.inv(half))
    off = reading - design @ (solve @ reading)
    fits = float(np.sum(np.linalg.solve(half, off) ** 2)) / plain.dof if shown.any() else 1.0
    alone, sure = solve @ (scatter * one + shown) @ solve.T, solve @ known @ solve.T
    among, number, held = _of_series(points, plain.residuals, t, solve, (scatter * one + shown, known))
    to_x = powers_of_x(plain.centre, plain.half_width, order)
    of_scatter, of_series, of_loads, whole, within = (
        np.asarray(to_x @ part @ to_x.T)
        for part in (
            fits * alone - held[0], among, sure - held[1], alone + among + sure, max(fits, 1.0) * alone + sure
        )
    )  # fmt: skip
    by_scatter, by_series, by_loads = (_roots(part) for part in (of_scatter, of_series, of_loads))
    standard = np.maximum(_roots(within), np.sqrt(by_scatter**2 + by_series**2 + by_loads**2))
    return PointFit(
        plain=plain,
        coefficients=plain.coefficients if points.u_load_n is None else to_x @ solve @ reading,
        residuals=plain.residuals if points.u_load_n is None else off,
        covariance=_scaled(whole, standard),
        scatter=by_scatter,
        series=by_series,
        loads=by_loads,
        scatter_dof=max(plain.dof - bool(shown.any()), 1),
        series_dof=number - 1 if number else None,
        overstated=bool(chdtr(plain.dof, plain.dof * fits) < TOO_SMALL),
    )


def _scaled(covariance: Array, standard: Array) -> Array:
    """These standard uncertainties with the correlations of a covariance."""
    roots = np.sqrt(np.diagonal(covariance))
    factor = np.divide(standard, roots, out=np.ones_like(roots), where=roots > 0.0)
    return np.asarray(covariance * np.outer(factor, factor))


def _of_loads(points: Points, plain: Fit, t: Array, onto: Array, weights: Weights) -> tuple[Array, Array]:
    """(n, n) covariances of the readings due to the loads' errors: the part that shows in the residuals and is scaled
    to them, and the part known only as stated. If each point errs independently, all but the part that the curve
    follows shows; shared errors are used as stated.
    """
    nothing = np.zeros((len(t), len(t)))
    if points.u_load_n is None:
        return nothing, nothing
    slopes = sum(i * plain.scaled[i] * t ** (i - 1) for i in range(1, len(plain.scaled))) / plain.half_width
    names = {"shared": np.zeros(len(t)), "per-load": points.load_n, "independent": np.arange(len(t))}
    of_one = np.array(points.weights) if points.weights is not None else names[weights]
    errors = slopes * points.u_load_n
    whole = np.outer(errors, errors) * (of_one[:, None] == of_one)
    follows = np.diagonal(onto) if len(np.unique(of_one)) == len(t) else np.ones(len(t))
    return np.asarray(whole * (1.0 - follows)), np.asarray(whole * follows)


def _of_series(
    points: Points, off: Array, t: Array, solve: Array, errors: tuple[Array, Array]
) -> tuple[Array, int, tuple[Array, Array]]:
    """Covariance of the coefficients in t from the differences between series; the number of series, 0 if fewer than
    two determine a zero and a slope; and how much of it these errors (n, n) produce on average by themselves."""
    nothing = np.zeros((len(solve), len(solve)))
    numbers = [] if points.series is None else [points.series == one for one in np.unique(points.series)]
    each = [mine for mine in numbers if np.count_nonzero(mine) > 2 and np.ptp(t[mine]) > 0.0]
    if len(each) < 2:
        return nothing, 0, (nothing, nothing)
    among, held = nothing, [nothing, nothing]
    for power in (0, 1):
        tells = np.zeros((len(each), len(t)))
        for row, mine in zip(tells, each, strict=True):
            row[mine] = np.linalg.pinv(np.vander(t[mine], 2, increasing=True))[power]
        apart = tells - tells.mean(axis=0)
        acts = [solve[:, mine] @ t[mine] ** power for mine in each]
        of_one = sum(np.outer(act, act) for act in acts) / (len(each) - 1)
        among = among + float(np.sum((apart @ off) ** 2)) * of_one
        held = [part + float(np.sum(apart @ error * apart)) * of_one for part, error in zip(held, errors, strict=True)]
    return np.asarray(among), len(each), (held[0], held[1])


def _roots(covariance: Array) -> Array:
    return np.asarray(np.sqrt(np.maximum(np.diagonal(covariance), 0.0)))
