"""Counts to newtons and degrees.

    shown   P(counts) - P(zero counts)             each force channel
    true    crosstalk x shown                      all force channels together
    load    true - (tare(tilt) - tare(tilt at zero))

The tilt channel is P(counts) alone: a zero taken on a slope must not make the slope level. Only elementwise sums and
products are used, in a fixed order: a scan gives the same bits alone, in a block of any length, and on any machine.
Matrix products and library sines do not guarantee that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.model import Calibration, CalibrationError
from daq.values import Array, Bools

TILT_MARGIN_DEG = 0.25
"""A tilt this far outside the tilts covered still counts as covered: half of it is the sensor's own noise."""
_RADIANS = np.pi / 180.0
# Taylor series in the square of the angle; at 30 deg, the steepest allowed, the first term left out is below 1e-11.
_SINE = (1.0, -1.0 / 6.0, 1.0 / 120.0, -1.0 / 5040.0, 1.0 / 362_880.0)
_COSINE_LESS_ONE = (0.0, -1.0 / 2.0, 1.0 / 24.0, -1.0 / 720.0, 1.0 / 40_320.0, -1.0 / 3_628_800.0)


@dataclass(frozen=True, eq=False, slots=True)
class _Table:
    """A calibration as arrays, so that a block of scans needs no look-ups."""

    powers: Array
    """(degree + 1, k) coefficients, constant first."""
    zero: Array
    tilt: int | None
    columns: tuple[tuple[int, Array], ...]
    """Cross-talk: column of scans and what it adds to each channel; the diagonal is in `own`."""
    own: Array | None
    tare: tuple[Array, Array, Array, Array] | None
    """cosine_n and sine_n (k,), lowest and highest tilt covered (k,), or (1,) when they are the same for all."""


def apply(calibration: Calibration, counts: npt.ArrayLike, zero_counts: npt.ArrayLike | None = None) -> Array:
    """Loads in N and tilt in deg, (n, k), of the counts (n, k) of a board's scans; NaN in unused channels.

    zero_counts: readings (k,) of the empty jig; None: the calibration's own zero.
    Beyond the tilts covered the tare stays as at the nearest one: see `tare_holds`.
    Raises CalibrationError if the number of channels does not match.
    """
    table = _table_of(calibration)
    raw = np.asarray(counts)
    if raw.ndim != 2 or raw.shape[1] != len(calibration.channels):
        raise CalibrationError(
            f"calibration {calibration.id}: expected counts of {len(calibration.channels)} channels "
            f"({', '.join(calibration.names)}), scan by scan, got an array of shape {raw.shape}"
        )
    zero = table.zero if zero_counts is None else np.asarray(zero_counts, dtype=np.float64)
    base, tare_at_zero_n = _at_zero(calibration, zero.tobytes())
    values = _polynomial(table.powers, raw.astype(np.float64))
    values -= base
    if table.own is not None:
        values = _without_crosstalk(values, table.own, table.columns)
    if table.tare is not None and table.tilt is not None:
        values -= _tare_n(table.tare, values[:, table.tilt : table.tilt + 1])
        values += tare_at_zero_n
    return values


def tare_holds(calibration: Calibration, tilt_deg: npt.ArrayLike) -> Bools:
    """Whether every tilt tare was measured around these tilts (n,); True where no channel has a tilt tare."""
    tilt = np.atleast_1d(np.asarray(tilt_deg, dtype=np.float64))
    holds = np.ones(tilt.shape, dtype=np.bool_)
    for channel in calibration.forces:
        if channel.tare is not None:
            low, high = channel.tare.covered_deg
            holds &= (tilt >= low - TILT_MARGIN_DEG) & (tilt <= high + TILT_MARGIN_DEG)
    return holds


def in_order(calibration: Calibration, names: Sequence[str]) -> Calibration:
    """The same calibration for scans whose columns have these names. Raises CalibrationError if a name was not
    calibrated, or a force channel with cross-talk to others is missing.
    """
    missing = [name for name in names if name not in calibration.names]
    if missing:
        raise CalibrationError(
            f"calibration {calibration.id}: no channel {', '.join(repr(name) for name in missing)}; it has "
            f"{', '.join(calibration.names)}. Calibrate the missing ones, or correct their names in the rig file"
        )
    channels = tuple(calibration.channel(name) for name in names)
    crosstalk = calibration.crosstalk
    if crosstalk is not None:
        before = [channel.name for channel in calibration.forces]
        kept = [before.index(channel.name) for channel in channels if channel.kind == "force"]
        left_out = [name for i, name in enumerate(before) if i not in kept]
        if any(crosstalk[i][before.index(name)] for i in kept for name in left_out):
            raise CalibrationError(
                f"calibration {calibration.id}: loads on {', '.join(left_out)} show on other cells, so the correction "
                "for cross-talk needs every force channel; add them to the rig file"
            )
        crosstalk = tuple(tuple(crosstalk[i][j] for j in kept) for i in kept)
    return replace(calibration, channels=channels, crosstalk=crosstalk)


@lru_cache(maxsize=16)
def _table_of(calibration: Calibration) -> _Table:
    channels = calibration.channels
    degree = max((len(channel.coefficients) for channel in channels), default=0)
    powers = np.full((max(degree, 2), len(channels)), np.nan)
    for j, channel in enumerate(channels):
        if channel.coefficients:
            powers[:, j] = [*channel.coefficients, *[0.0] * (len(powers) - len(channel.coefficients))]
    kinds = [channel.kind for channel in channels]
    own, columns = _crosstalk_columns(calibration)
    return _Table(
        powers=powers,
        zero=np.array([channel.zero_counts for channel in channels]),
        tilt=kinds.index("tilt") if "tilt" in kinds else None,
        own=own,
        columns=columns,
        tare=_tare_rows(calibration),
    )


def _crosstalk_columns(calibration: Calibration) -> tuple[Array | None, tuple[tuple[int, Array], ...]]:
    """The diagonal of the cross-talk matrix over all channels, and its columns that have more than the diagonal."""
    if calibration.crosstalk is None:
        return None, ()
    at = [j for j, channel in enumerate(calibration.channels) if channel.kind == "force"]
    k = len(calibration.channels)
    own = np.ones(k)
    own[at] = [row[i] for i, row in enumerate(calibration.crosstalk)]
    columns = []
    for j, column in enumerate(at):
        others = np.zeros(k)
        others[at] = [0.0 if i == j else row[j] for i, row in enumerate(calibration.crosstalk)]
        if others.any():
            columns.append((column, others))
    return own, tuple(columns)


def _tare_rows(calibration: Calibration) -> tuple[Array, Array, Array, Array] | None:
    tares = [channel.tare for channel in calibration.channels]
    covered = {tare.covered_deg for tare in tares if tare}
    if not covered:
        return None
    cosine_n = np.array([tare.cosine_n if tare else 0.0 for tare in tares])
    sine_n = np.array([tare.sine_n if tare else 0.0 for tare in tares])
    if len(covered) == 1:
        ((low, high),) = covered
        return cosine_n, sine_n, np.array([low]), np.array([high])
    level = (0.0, 0.0)
    spans = np.array([tare.covered_deg if tare else level for tare in tares])
    return cosine_n, sine_n, spans[:, 0], spans[:, 1]


@lru_cache(maxsize=16)
def _at_zero(calibration: Calibration, zero_counts: bytes) -> tuple[Array, Array]:
    """P(zero counts), 0 for the tilt channel, and the tare at the tilt of the zero, each (k,).

    The zero changes a few times a day and is used for every block, so it is worth caching.
    """
    table = _table_of(calibration)
    zero = np.frombuffer(zero_counts)
    if zero.shape != (len(calibration.channels),) or not np.isfinite(zero).all():
        raise CalibrationError(
            f"calibration {calibration.id}: expected one finite zero reading for each of {len(calibration.channels)} "
            f"channels ({', '.join(calibration.names)}), got {zero.tolist()}"
        )
    base = _polynomial(table.powers, zero)
    if table.tare is None or table.tilt is None:
        tare_n = np.zeros(len(base))
    else:
        tare_n = _tare_n(table.tare, base[table.tilt : table.tilt + 1])
    if table.tilt is not None:
        base[table.tilt] = 0.0
    return base, tare_n


def _polynomial(powers: Array, x: Array) -> Array:
    """sum(powers[i] x^i) by Horner's rule, element by element."""
    value = powers[-1] * x
    for coefficients in powers[-2:0:-1]:
        value += coefficients
        value *= x
    value += powers[0]
    return np.asarray(value)


def _without_crosstalk(shown: Array, own: Array, columns: tuple[tuple[int, Array], ...]) -> Array:
    true = shown * own
    for column, others in columns:
        true += shown[:, column : column + 1] * others
    return np.asarray(true)


def _tare_n(tare: tuple[Array, Array, Array, Array], tilt_deg: Array) -> Array:
    """cosine_n (cos t - 1) + sine_n sin t, held at the ends of the tilts covered; broadcasts (n, 1) to (n, k)."""
    cosine_n, sine_n, low, high = tare
    t = np.minimum(np.maximum(tilt_deg, low), high) * _RADIANS
    square = t * t
    return np.asarray(sine_n * (t * _series(_SINE, square)) + cosine_n * _series(_COSINE_LESS_ONE, square))


def _series(terms: tuple[float, ...], square: Array) -> Array:
    value = terms[-1] * square
    for term in terms[-2:0:-1]:
        value += term
        value *= square
    value += terms[0]
    return np.asarray(value)
