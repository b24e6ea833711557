"""What the loads do within a stroke: harmonics of the turn, evenness from stroke to stroke.

Hands and saddle respond to both legs at once: one leg's top is the other's bottom, so their loads cannot separate the
push over the top from the bottom of the stroke. They show the two dead centres together. No muscle is diagnosed from
any of this.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.averages import average
from daq.values import NAN, Array
from daq.words import counted

HIGHEST = 4
"""Harmonics of the turn, 1 to 4."""
FEWEST_SCANS = 24
"""Per stroke, to separate four harmonics, a mean and a trend from noise."""
FEWEST_STROKES = 8
SEEN = 2.45
"""Standard errors at which a harmonic counts as visible: 95 % of a plane normal of no signal lies within."""
DEAD_CENTRE_DEG = 30.0
"""Half width of the window about top and bottom."""

Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One harmonic of the turn, mean over strokes: amplitude in the load's unit, with standard uncertainties."""

    order: int
    amplitude: float
    u_amplitude: float
    peak_deg: float
    """Crank angle of its first peak, 0 to 360 / order; NaN when the angle is not known or nothing is visible."""
    u_peak_deg: float
    visible: bool


@dataclass(frozen=True, slots=True)
class Ripple:
    """The ripple of one load over the strokes of one step."""

    strokes: int
    harmonics: tuple[Harmonic, ...]
    evenness: float
    """Stroke-to-stroke standard deviation of the twice-a-turn amplitude, over that amplitude. Small is even."""
    roughness: float
    """Residual after harmonics 1 to 4 near the dead centres, root mean square; without a mark, near the ripple's
    peaks."""
    limits: tuple[str, ...]
    """What is not visible with these sensors, one sentence each."""


@dataclass(frozen=True, eq=False, slots=True)
class StrokeShapes:
    """Harmonics of single strokes: coefficients (K, 4), value = Re sum c_k exp(i k a), and roughness (K,)."""

    coefficients: Complex
    roughness: Array
    angle_known: bool
    """Whether the boundaries are the top of the stroke."""


@dataclass(frozen=True, eq=False, slots=True)
class Turned:
    """The scans of one stroke: which they are, where in the turn, and what is fitted to their loads."""

    scans: slice
    turn: Array
    """(n,) 0 at the first boundary, 1 at the next."""
    columns: Array
    """(n, 10) mean, trend, cosines and sines of the harmonics."""


def turned(t_s: Array, boundaries_s: Array) -> list[Turned]:
    """Every stroke between neighbouring boundaries, for all loads that were read at these times.

    The crank is assumed to turn evenly within a stroke. Strokes with fewer than FEWEST_SCANS scans are left out, and so
    are gaps: strokes longer than twice the median.
    """
    lengths = np.diff(boundaries_s)
    usual = float(np.median(lengths)) if len(lengths) else 0.0
    strokes = []
    for start, length in zip(boundaries_s[:-1], lengths, strict=True):
        first, last = np.searchsorted(t_s, [start, start + length])
        if last - first < FEWEST_SCANS or length > 2.0 * usual:
            continue
        turn = (t_s[first:last] - start) / length
        angles = 2.0 * np.pi * turn[:, None] * np.array(_ORDERS)
        columns = np.column_stack([np.ones_like(turn), turn - 0.5, np.cos(angles), np.sin(angles)])
        strokes.append(Turned(slice(first, last), turn, columns))
    return strokes


def shapes_of(strokes: Sequence[Turned], load: Array, *, angle_known: bool) -> StrokeShapes:
    """Harmonics of every stroke, each by least squares with a mean and a trend.

    angle_known: the boundaries are marks at the top of the stroke. Otherwise (ripple lock, BLE crank events, good to
    20-25 ms) they lie anywhere in the turn, and the dead centres are assumed to be where the load's own twice-a-turn
    ripple peaks: the legs push least there.
    """
    fits = [_fit(one.columns, load[one.scans]) for one in strokes]
    each = np.array([coefficients for coefficients, _ in fits], dtype=np.complex128).reshape(-1, HIGHEST)
    dead_deg = 0.0 if angle_known or not fits else -0.5 * math.degrees(np.angle(each[:, 1].mean()))
    rough = [_near(one.turn, rest, dead_deg) for one, (_, rest) in zip(strokes, fits, strict=True)]
    return StrokeShapes(each, np.array(rough), angle_known)


def _near(turn: Array, rest: Array, dead_deg: float) -> float:
    """Root mean square residual near the dead centres, one of them dead_deg into the turn."""
    away_deg = np.abs((turn * 360.0 - dead_deg + 90.0) % 180.0 - 90.0)
    return math.sqrt(float(np.mean(rest[away_deg <= DEAD_CENTRE_DEG] ** 2)))


def ripple(shape: StrokeShapes) -> Ripple:
    """Means over the strokes with uncertainties that allow for correlation between strokes.

    Without marks no angle is given.
    """
    angle_known = shape.angle_known
    limits = [] if angle_known else ["crank angles are not visible: they need a crank mark on the board"]
    limits.append("top and bottom of the stroke are not visible apart: hands and saddle feel both legs at once")
    n = len(shape.coefficients)
    if n < FEWEST_STROKES:
        limits.append(f"{counted(n, 'usable stroke')}; the ripple needs at least {FEWEST_STROKES}")
        return Ripple(n, (), NAN, NAN, tuple(limits))
    harmonics = tuple(_harmonic(order, shape.coefficients[:, order - 1], angle_known) for order in _ORDERS)
    limits += [f"harmonic {h.order} is not visible above the noise" for h in harmonics if not h.visible]
    mean = shape.coefficients[:, 1].mean()
    evenness = NAN
    if harmonics[1].visible:
        evenness = float(np.std((shape.coefficients[:, 1] * np.conj(mean)).real / abs(mean), ddof=1) / abs(mean))
    return Ripple(n, harmonics, evenness, average(shape.roughness).mean, tuple(limits))


_ORDERS = range(1, HIGHEST + 1)


def _fit(columns: Array, load: Array) -> tuple[Complex, Array]:
    """Coefficients (4,) of one stroke and their residuals (n,)."""
    solved, *_ = np.linalg.lstsq(columns, load, rcond=None)
    cosines, sines = solved[2 : 2 + HIGHEST], solved[2 + HIGHEST :]
    return cosines - 1j * sines, load - columns @ solved


def _harmonic(order: int, coefficients: Complex, angle_known: bool) -> Harmonic:
    mean = complex(coefficients.mean())
    along = coefficients * np.conj(mean) / abs(mean) if abs(mean) > 0.0 else coefficients
    u_along, u_across = average(along.real).se, average(along.imag).se
    visible = abs(mean) > SEEN * math.sqrt(0.5 * (u_along**2 + u_across**2))
    peak, u_peak = NAN, NAN
    if visible and angle_known:
        peak = (-math.degrees(np.angle(mean)) / order) % (360.0 / order)
        u_peak = math.degrees(u_across / abs(mean)) / order
    return Harmonic(order, abs(mean), u_along, peak, u_peak, visible)
