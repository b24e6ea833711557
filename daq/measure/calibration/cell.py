"""One cell calibrated: series of known loads up and down become a channel with its budget.

Readings count from the zero of their series, and the curve goes through zero, as in use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.measure.calibration.budget import BenchConditions, budget_of
from daq.measure.calibration.fit import ZeroFit, fit_through_zero
from daq.measure.calibration.model import CalibratedChannel, TiltTare
from daq.measure.calibration.series import CellError, CellReadings, Creep, Figures, figures
from daq.measure.calibration.terms import Described, described
from daq.measure.calibration.uncertainty import Term


@dataclass(frozen=True, eq=False, slots=True)
class CalibratedCell:
    """The channel as stored in a Calibration, with the fit and figures it came from."""

    channel: CalibratedChannel
    readings: CellReadings
    fit: ZeroFit
    """Load in N from counts above zero."""
    figures: Figures
    described: Described


def calibrated(
    name: str, readings: CellReadings, order: int, conditions: BenchConditions, creep: Creep
) -> CalibratedCell:
    """A cell's channel from its readings; cross-talk and tilt tare come from other placements, see `with_assembly`.

    Raises FitError for too few loads or repeats.
    """
    fit = fit_through_zero(readings.deflection, readings.load_n, order)
    found = figures(readings, fit, creep)
    zero = float(np.mean([readings.counts[mine[0]] for mine in readings.each]))
    channel = CalibratedChannel(
        name=name,
        kind="force",
        coefficients=_on_raw_counts(fit.coefficients.tolist(), zero),
        zero_counts=zero,
        span=(0.0, float(readings.load_n.max())),
        span_counts=(float(readings.counts.min()), float(readings.counts.max())),
        uncertainty=budget_of(readings, fit, found, conditions),
    )
    words = described(readings.load_n, readings.counts - readings.zero, readings.series, readings.falling)
    return CalibratedCell(channel, readings, fit, found, words)


def with_assembly(
    channel: CalibratedChannel, added: Sequence[Term] = (), *, tare: TiltTare | None = None
) -> CalibratedChannel:
    """The channel on its jig: with the budget terms that its assembly adds, and the tilt tare with its term."""
    if channel.uncertainty is None:
        raise CellError(f"channel '{channel.name}' has no budget to add to; calibrate the cell first")
    of_tare = [] if tare is None else [Term("tilt tare", absolute_n=tare.residual_sd_n, note="scatter about the tare")]
    terms = (*channel.uncertainty.terms, *added, *of_tare)
    return replace(channel, tare=tare, uncertainty=replace(channel.uncertainty, terms=terms))


def _on_raw_counts(through_zero: Sequence[float], zero: float) -> tuple[float, ...]:
    """Coefficients of c from those of c - zero."""
    first, second = (*through_zero, 0.0)[:2]
    constant = zero * (second * zero - first)
    return (constant, first - 2.0 * second * zero, second)[: len(through_zero) + 1]
