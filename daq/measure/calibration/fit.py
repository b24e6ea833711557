"""Straight lines and low-order polynomials by weighted least squares, accurate to nearly all digits of a double. Plain
normal equations, or a solver on raw powers of x, lose half the digits with loads of 10^6. Here x is shifted and scaled
to -1..1, polynomials that are orthogonal over the given points are built one from the next (the recurrence of Forsythe
1957, J. SIAM 5:74, each made orthogonal twice), and their coefficients are refined on the residuals. All sums run along
the last axis, so that thousands of simulated calibrations are fitted in one call.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from daq.values import Array

HIGHEST_ORDER = 3


class FitError(ValueError):
    """These points do not allow the fit; the text says why."""


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """y = sum(coefficients[i] x^i), by least squares over n points. Leading axes of the points lead here too."""

    coefficients: Array
    """(..., p), constant first."""
    covariance: Array
    """(..., p, p)."""
    residual_sd: Array
    """(...) root of the weighted sum of squared residuals over the degrees of freedom."""
    residuals: Array
    """(..., n) y minus the fit, not weighted."""
    ss_regression: Array
    ss_residual: Array
    dof: int
    """Degrees of freedom, n - p."""
    centre: Array
    half_width: Array
    scaled: Array
    """(..., p) coefficients in t = (x - centre) / half_width."""
    scaled_covariance: Array
    """(..., p, p) of `scaled`."""

    @property
    def standard_uncertainties(self) -> Array:
        """(..., p) of the coefficients."""
        return np.asarray(np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1)))

    @property
    def r_squared(self) -> Array:
        """Fraction of the variation about the mean that the fit explains."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.ss_regression / (self.ss_regression + self.ss_residual))

    @property
    def f(self) -> Array:
        """Mean square of the regression over that of the residuals; inf without residuals, NaN for order 0."""
        with np.errstate(divide="ignore", invalid="ignore"):
            order = np.float64(self.coefficients.shape[-1] - 1)
            return np.asarray(self.ss_regression / order / (self.ss_residual / self.dof))

    def at(self, x: npt.ArrayLike) -> Array:
        """The fitted y at x; x has the points' leading axes and one of its own."""
        return _horner(self.scaled, self._scaled_x(x))

    def inverse(self, y: float) -> float:
        """The x at which the fit has the value y; for a single fit of order 1 or 2, on the branch with the points.

        Raises FitError where the fitted curve never reaches y.
        """
        b = [float(value) for value in self.scaled]
        c = b[0] - y
        square = b[2] if len(b) > 2 else 0.0
        under = b[1] * b[1] - 4.0 * square * c
        if len(b) > 3 or under < 0.0:
            raise FitError(f"the fitted curve of order {len(b) - 1} cannot be inverted at {y:g}")
        t = -2.0 * c / (b[1] + math.copysign(math.sqrt(under), b[1]))
        return float(self.centre + self.half_width * t)

    def _scaled_x(self, x: npt.ArrayLike) -> Array:
        return np.asarray((np.asarray(x, dtype=np.float64) - self.centre[..., None]) / self.half_width[..., None])


def fit_polynomial(x: npt.ArrayLike, y: npt.ArrayLike, order: int, *, weights: npt.ArrayLike | None = None) -> Fit:
    """The polynomial of this order closest to the points (..., n), x and y of one shape.

    weights: (..., n) or (n,), proportional to 1/u^2 of each y; only their ratios matter, the scatter itself comes from
    the residuals. Raises FitError for an order outside 0 (a mean) to 3, too few points or too few different x, numbers
    that are not finite, and weights that are not above 0.
    """
    x, y, w = _checked(x, y, order, weights)
    low, high = x.min(axis=-1), x.max(axis=-1)
    centre = 0.5 * (low + high)
    half = np.where(high > low, 0.5 * (high - low), 1.0)
    t = (x - centre[..., None]) / half[..., None]
    basis, in_powers = _orthogonal(t, np.sqrt(w), order)
    target = y * np.sqrt(w)
    alpha, rest = _projected(basis, target)

    dof = x.shape[-1] - order - 1
    ss_residual = (rest**2).sum(axis=-1)
    variance = ss_residual / dof
    turned = np.swapaxes(in_powers, -1, -2)
    scaled = np.einsum("...ij,...j->...i", turned, alpha)
    scaled_covariance = variance[..., None, None] * (turned @ in_powers)
    to_x = powers_of_x(centre, half, order)
    return Fit(
        coefficients=np.einsum("...ij,...j->...i", to_x, scaled),
        covariance=to_x @ scaled_covariance @ np.swapaxes(to_x, -1, -2),
        residual_sd=np.sqrt(variance),
        residuals=rest / np.sqrt(w),
        ss_regression=(alpha[..., 1:] ** 2).sum(axis=-1),
        ss_residual=ss_residual,
        dof=dof,
        centre=centre,
        half_width=half,
        scaled=scaled,
        scaled_covariance=scaled_covariance,
    )


def _checked(
    x: npt.ArrayLike, y: npt.ArrayLike, order: int, weights: npt.ArrayLike | None
) -> tuple[Array, Array, Array]:
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    w = np.ones_like(x) if weights is None else np.broadcast_to(np.asarray(weights, dtype=np.float64), x.shape)
    if order not in range(HIGHEST_ORDER + 1):
        raise FitError(f"order: expected 0 (a mean) to {HIGHEST_ORDER}, got {order!r}")
    if x.shape != y.shape or x.ndim == 0:
        raise FitError(f"expected as many y as x, got {y.shape} and {x.shape}")
    if x.shape[-1] < order + 2:
        raise FitError(
            f"too few points: a fit of order {order} with a residual needs at least {order + 2}, got {x.shape[-1]}"
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise FitError("expected finite numbers; a point is missing or not a number")
    if not (np.isfinite(w).all() and (w > 0.0).all()):
        raise FitError("weights: expected finite numbers above 0")
    different = 1 + np.count_nonzero(np.diff(np.sort(x, axis=-1), axis=-1), axis=-1)
    if different.min() < order + 1:
        raise FitError(
            f"too few different loads: a fit of order {order} needs at least {order + 1}, got {different.min()}"
        )
    return x, y, w


def _orthogonal(t: Array, root_w: Array, order: int) -> tuple[list[Array], Array]:
    """Orthonormal polynomials over the points, (..., n) each, and their coefficients in powers of t (..., p, p)."""
    p = order + 1
    basis: list[Array] = []
    in_powers = np.zeros((*t.shape[:-1], p, p))
    for k in range(p):
        column = root_w.copy() if k == 0 else t * basis[-1]
        powers = np.zeros((*t.shape[:-1], p))
        if k == 0:
            powers[..., 0] = 1.0
        else:
            powers[..., 1:] = in_powers[..., k - 1, :-1]
        for _ in range(2):
            for j, other in enumerate(basis):
                shadow = (other * column).sum(axis=-1, keepdims=True)
                column = column - shadow * other
                powers = powers - shadow * in_powers[..., j, :]
        length = np.sqrt((column**2).sum(axis=-1, keepdims=True))
        basis.append(column / length)
        in_powers[..., k, :] = powers / length
    return basis, in_powers


def _projected(basis: list[Array], target: Array) -> tuple[Array, Array]:
    """Coefficients on an orthonormal basis and the residuals, with one refinement on the residuals."""
    rest = target
    alpha = np.zeros((*target.shape[:-1], len(basis)))
    for _ in range(3):
        for k, column in enumerate(basis):
            step = (column * rest).sum(axis=-1, keepdims=True)
            alpha[..., k] += step[..., 0]
            rest = rest - step * column
    return alpha, rest


def powers_of_x(centre: Array, half: Array, order: int) -> Array:
    """(..., p, p): coefficients in t = (x - centre) / half to coefficients in x."""
    p = order + 1
    matrix = np.zeros((*centre.shape, p, p))
    for j in range(p):
        for i in range(j + 1):
            matrix[..., i, j] = math.comb(j, i) * (-centre) ** (j - i) / half**j
    return matrix


def _horner(coefficients: Array, t: Array) -> Array:
    value = np.zeros_like(t)
    for i in reversed(range(coefficients.shape[-1])):
        value = value * t + coefficients[..., i : i + 1]
    return np.asarray(value)


@dataclass(frozen=True, eq=False, slots=True)
class ZeroFit:
    """y = sum(coefficients[i] x^(i+1)): a curve through zero, by least squares over the points off zero."""

    coefficients: Array
    """(p,) of x, x^2, ..."""
    covariance: Array
    """(p, p)."""
    residuals: Array
    """(n,) y minus the curve, the points at zero too."""
    residual_sd: float
    dof: int

    def at(self, x: npt.ArrayLike) -> Array:
        """The fitted y at x (n,)."""
        x = np.asarray(x, dtype=np.float64)
        return np.asarray(x * _horner(self.coefficients, x))


def fit_through_zero(
    x: npt.ArrayLike, y: npt.ArrayLike, order: int, *, weights: npt.ArrayLike | None = None
) -> ZeroFit:
    """The curve through zero of this order (1 or 2) closest to the points (n,); points at x = 0 carry no information.
    Least squares of y on x, x^2 is least squares of y/x on 1, x with weights x^2, so the same accurate method serves.
    Raises FitError as `fit_polynomial`.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if order not in (1, 2):
        raise FitError(f"order: expected 1 (a line) or 2 (a parabola), got {order!r}")
    w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=np.float64)
    off = x != 0.0
    fit = fit_polynomial(x[off], y[off] / x[off], order - 1, weights=w[off] * x[off] ** 2)
    found = ZeroFit(fit.coefficients, fit.covariance, y, float(fit.residual_sd), fit.dof)
    return replace(found, residuals=y - found.at(x))
