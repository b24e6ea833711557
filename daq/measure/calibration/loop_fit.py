"""A curve midway between rising and falling readings: how open the hysteresis loop is counts as one more parameter, at
the cost of one degree of freedom and with its share in the covariance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from daq.measure.calibration.fit import Fit, FitError, fit_polynomial
from daq.values import Array


def fit_beside_loop(load_n: Array, reading: Array, order: int, shape: Array | None) -> tuple[Fit, float]:
    """The polynomial fit of readings (n,) less the hysteresis, and how open the loop is in the middle, as a reading.

    shape: (n,) the reading of a loop of unit opening, as `repeats.loop_shape` has it; None without hysteresis. By least
    squares of polynomial and opening together (Frisch, Waugh 1933, Econometrica 1:387; from memory). Raises FitError as
    `fit_polynomial`, and for too few points to know an opening as well.
    """
    if shape is None:
        return fit_polynomial(load_n, reading, order), 0.0
    if len(load_n) < order + 3:
        raise FitError(
            f"too few points: a fit of order {order} with a residual needs at least {order + 3} where the direction is "
            f"known, since hysteresis is fitted too, got {len(load_n)}"
        )
    of_shape = fit_polynomial(load_n, shape, order)
    alone = of_shape.residuals
    unit = float(alone @ alone)
    opening = float(alone @ fit_polynomial(load_n, reading, order).residuals) / unit
    fit = fit_polynomial(load_n, reading - opening * shape, order)
    dof, variance = fit.dof - 1, fit.ss_residual / (fit.dof - 1)

    def with_opening(covariance: Array, of_unit: Array) -> Array:
        return covariance * (fit.dof / dof) + variance / unit * np.outer(of_unit, of_unit)

    return replace(
        fit,
        dof=dof,
        residual_sd=np.sqrt(variance),
        covariance=with_opening(fit.covariance, of_shape.coefficients),
        scaled_covariance=with_opening(fit.scaled_covariance, of_shape.scaled),
    ), opening
