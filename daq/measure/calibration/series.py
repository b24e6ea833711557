"""What series of known loads, up and down, show about one cell: its curve, and the figures for its budget."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.fit import FitError, ZeroFit
from daq.values import Array, Bools, Ints


class CellError(ValueError):
    """These readings are not enough to calibrate a cell; the text says what is missing."""


@dataclass(frozen=True, eq=False)
class CellReadings:
    """n readings of one cell, in the order taken. Every series begins with a reading at zero load.

    Raises CellError for readings that lack a zero, a second series or falling loads.
    """

    load_n: Array
    counts: Array
    """Mean counts of each reading."""
    series: Ints
    falling: Bools
    """Reached by removing weight; this includes the zero at the end of a series."""

    def __post_init__(self) -> None:
        number = len(self.load_n)
        if not len(self.counts) == len(self.series) == len(self.falling) == number:
            raise CellError(f"expected counts, series and direction of {number} loads, got other numbers of them")
        if not (np.isfinite(self.counts).all() and np.isfinite(self.load_n).all()):
            raise CellError("expected finite loads and counts; a reading is missing or not a number")
        if len(self.each) < 2:
            raise CellError(f"expected at least 2 series, so that repeats can be compared, got {len(self.each)}")
        for mine in self.each:
            if self.load_n[mine[0]] != 0.0:
                one, got = self.series[mine[0]], self.load_n[mine[0]]
                raise CellError(f"series {one}: expected a reading at zero load first, got {got:g} N")
        if not (self.falling & (self.load_n > 0.0)).any():
            raise CellError("expected loads on the way down too, which show hysteresis, got none")

    @cached_property
    def each(self) -> tuple[Ints, ...]:
        """Which readings make up each series, in the order taken."""
        return tuple(np.flatnonzero(self.series == one) for one in np.unique(self.series))

    @cached_property
    def time(self) -> Array:
        """(n,) fraction of its series completed at each reading, 0 to 1."""
        return self._by_series(lambda mine: np.linspace(0.0, 1.0, len(mine)))

    @cached_property
    def zero(self) -> Array:
        """(n,) first reading of its series."""
        return self._by_series(lambda mine: self.counts[mine[0]])

    @cached_property
    def deflection(self) -> Array:
        """(n,) counts above the zero of its series.

        A zero that has moved by the end of a series is assumed to have moved evenly: otherwise its drift would pass for
        hysteresis, and for a spread of the series.
        """
        return self.counts - self.zero - self._by_series(self._moved) * self.time

    def _moved(self, mine: Ints) -> float:
        """Change of the zero over a series; 0 when it was not read again."""
        return float(self.counts[mine[-1]] - self.counts[mine[0]]) if self.load_n[mine[-1]] == 0.0 else 0.0

    def zero_returns_n(self, fit: ZeroFit) -> Array:
        """(series,) change of the zero over each series, N."""
        return fit.at(np.array([self._moved(mine) for mine in self.each]))

    def _by_series(self, of: Callable[[Ints], npt.ArrayLike]) -> Array:
        values = np.empty(len(self.counts))
        for mine in self.each:
            values[mine] = of(mine)
        return values


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of one cell, newtons unless stated otherwise."""

    series: int
    levels: int
    sensitivity_relative: float
    """Standard deviation of the series' slopes over their mean."""
    sensitivity_scatter: float
    """The part due to scatter of the readings alone, as a standard deviation."""
    repeatability_n: float
    repeatability_dof: int
    linearity_n: float
    """Root mean square, over the levels, of the distance of the mean reading from the curve."""
    hysteresis_n: float
    """Root mean square over the levels of half the difference between falling and rising."""
    by_level: tuple[tuple[float, float, float], ...]
    """(load, linearity, hysteresis) at each level. These, those above and the zero's: without what scatter adds."""
    zero_return_n: float
    """Root mean square over the series."""
    creep_relative: float
    """Of the load, over the time of the creep test."""
    creep_from: str = ""
    """Which test, or the substitute for one."""
    dead_load_return: float | None = None
    """Change of the zero over the creep test, over the output at its load; None if not read."""


@dataclass(frozen=True, slots=True)
class Creep:
    """The result of a creep test, or its substitute."""

    relative: float
    """Change over the test, over the load."""
    source: str = ""
    """Which test."""
    dead_load_return: float | None = None


def figures(readings: CellReadings, fit: ZeroFit, creep: Creep) -> Figures:
    """The figures of a cell. Raises FitError without repeats of the same loads."""
    load = readings.load_n
    groups, group = np.unique(np.column_stack([load, readings.falling]), axis=0, return_inverse=True)
    group = group.reshape(-1)
    scatter_n, dof, slopes, share = _scatter(readings, fit, group)
    number = len(readings.each)
    levels_n, middle_n, half_n = _by_level(groups, np.bincount(group, fit.residuals) / np.bincount(group))
    middle_n *= math.sqrt(len(levels_n) / max(len(levels_n) - len(fit.coefficients), 1))
    noise = scatter_n**2 / (2 * number)
    off_n, open_n = above(middle_n, noise), above(half_n, noise)
    return Figures(
        series=number,
        levels=len(levels_n),
        sensitivity_relative=float(np.std(slopes, ddof=1)),
        sensitivity_scatter=scatter_n * share,
        repeatability_n=math.sqrt(2.0) * scatter_n,
        repeatability_dof=dof,
        linearity_n=float(above(_rms(middle_n), noise)),
        hysteresis_n=float(above(_rms(half_n), noise)),
        by_level=tuple(zip(levels_n.tolist(), off_n.tolist(), open_n.tolist(), strict=True)),
        zero_return_n=float(above(_rms(readings.zero_returns_n(fit)), 2.0 * scatter_n**2)),
        creep_relative=creep.relative,
        creep_from=creep.source,
        dead_load_return=creep.dead_load_return,
    )


def above(found_n: npt.ArrayLike, noise: npt.ArrayLike) -> Array:
    """Sizes with the contribution of scatter of this variance removed."""
    return np.asarray(np.sqrt(np.maximum(np.square(found_n) - np.asarray(noise), 0.0)))


def _rms(values: Array) -> float:
    return math.sqrt(float(np.mean(np.square(values))))


def _scatter(readings: CellReadings, fit: ZeroFit, group: Ints) -> tuple[float, int, list[float], float]:
    """Standard deviation of readings within their series and its degrees of freedom; the series' slopes about their
    mean, over it; and the standard deviation that a unit of scatter gives such a slope.

    Each series' own zero, drift and slope are removed before its readings are compared.
    """
    x = readings.load_n / readings.load_n.max()
    off = fit.at(readings.counts - readings.zero.mean()) - readings.load_n
    rest = off - (np.bincount(group, off) / np.bincount(group))[group]
    slopes, variances = [], []
    for mine in readings.each:
        design = np.column_stack([np.ones(len(mine)), readings.time[mine], x[mine]])
        inverse = np.linalg.pinv(design)
        solved = inverse @ rest[mine]
        rest[mine] -= design @ solved
        slopes.append(float(solved[2]) / float(readings.load_n.max()))
        variances.append(float(inverse[2] @ inverse[2]))
    dof = len(off) - len(np.unique(group)) - 3 * (len(readings.each) - 1)
    if dof < 1:
        raise FitError("too few repeats: the same loads, up and down, are needed in at least 2 series")
    share = math.sqrt(float(np.mean(variances))) / float(readings.load_n.max())
    return math.sqrt(float(rest @ rest) / dof), dof, slopes, share


def _by_level(groups: Array, means: Array) -> tuple[Array, Array, Array]:
    """(m,) loads above zero, distance of the middle of rising and falling from the curve, and half their difference.

    A load read in one direction only (the highest) stands for both.
    """
    found = {(load, falling): mean for (load, falling), mean in zip(groups.tolist(), means.tolist(), strict=True)}
    levels = sorted({load for load, _ in found if load > 0.0})
    up = np.array([found.get((level, 0.0), found.get((level, 1.0))) for level in levels])
    down = np.array([found.get((level, 1.0), found.get((level, 0.0))) for level in levels])
    return np.array(levels), 0.5 * (up + down), 0.5 * (down - up)
