"""Figures that describe a load cell, each from readings, in the terms of OIML R60, ISO 376 and ASTM E74. Fractions are
of the rated output: the reading at the highest load minus that at zero, with rising loads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.measure.calibration.fit import Fit
from daq.measure.calibration.loop_fit import fit_beside_loop
from daq.values import Array, Ints
from daq.words import counted

LOWER_LIMIT_FACTOR = 2.4
"""Standard deviations in the lower limit factor of ASTM E74; from memory."""
ROUNDING = 1e-13
"""Scatter of repeats over the largest reading that numbers of 16 digits leave where there is none."""


def non_linearity(load_n: npt.ArrayLike, rising: npt.ArrayLike) -> float:
    """Largest deviation of the rising curve from the straight line zero to rated, as a fraction of rated output."""
    off, _ = _off_terminal_line(load_n, rising)
    return float(np.abs(off).max())


def hysteresis(load_n: npt.ArrayLike, rising: npt.ArrayLike, falling: npt.ArrayLike) -> float:
    """Largest difference between falling and rising readings at one load, as a fraction of rated output."""
    _, rated = _off_terminal_line(load_n, rising)
    return float(np.abs(np.asarray(falling) - np.asarray(rising)).max() / abs(rated))


def combined_error(load_n: npt.ArrayLike, rising: npt.ArrayLike, falling: npt.ArrayLike) -> float:
    """Largest deviation from the line zero to rated over rising and falling loads, as a fraction of rated output."""
    off, rated = _off_terminal_line(load_n, rising)
    back = off + (np.asarray(falling, dtype=np.float64) - np.asarray(rising, dtype=np.float64)) / rated
    return float(max(np.abs(off).max(), np.abs(back).max()))


def repeatability(readings: npt.ArrayLike, rated_output: float) -> float:
    """Largest difference between repeats (series, loads) of the same load, as a fraction of rated output."""
    return float(np.ptp(np.asarray(readings, dtype=np.float64), axis=0).max() / abs(rated_output))


def zero_return(before: float, after: float, rated_output: float) -> float:
    """Change of the zero reading by a loading (minimum dead load output return), as a fraction of rated output."""
    return (after - before) / abs(rated_output)


@dataclass(frozen=True, slots=True)
class Described:
    """A cell in these terms, each a fraction of its rated output."""

    non_linearity: float
    hysteresis: float
    combined_error: float
    repeatability: float
    zero_return: float
    """The largest of the series."""


def described(load_n: npt.ArrayLike, counts: npt.ArrayLike, series: npt.ArrayLike, falling: npt.ArrayLike) -> Described:
    """The terms for (n,) readings of series of the same loads, each series starting at zero, counts from its own zero.
    Curves are means over the series. A load read in one direction only, such as the highest, stands for both.
    """
    load, y = np.asarray(load_n, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    down, number = np.asarray(falling, dtype=np.bool_), np.asarray(series)
    levels = np.unique(load[~down])
    up, back = (_means(levels, load[way], y[way]) for way in (~down, down))
    back = np.where(np.isnan(back), up, back)
    loadings = (~down & (number == one) for one in np.unique(number))
    repeats = [_means(levels, load[loading], y[loading]) for loading in loadings]
    rated = float(up[-1] - up[0])
    returns = [zero_return(0.0, value, rated) for value in y[down & (load == 0.0)].tolist()]
    return Described(
        non_linearity=non_linearity(levels, up),
        hysteresis=hysteresis(levels, up, back),
        combined_error=combined_error(levels, up, back),
        repeatability=repeatability(repeats, rated),
        zero_return=max(returns, key=abs, default=0.0),
    )


@dataclass(frozen=True, slots=True)
class CreepTest:
    """Change of the reading under a constant load, as fractions of the output at that load, from the first reading."""

    largest: float
    minutes: float


def creep(t_s: npt.ArrayLike, reading: npt.ArrayLike, zero: float) -> CreepTest:
    """Creep of readings at constant load over time. ValueError for fewer than 3 readings or no load."""
    t, y = np.asarray(t_s, dtype=np.float64), np.asarray(reading, dtype=np.float64)
    if len(t) < 3 or len(t) != len(y) or not (np.diff(t) > 0.0).all():
        got = f"{len(y)} at {counted(len(t), 'time')}"
        raise ValueError(f"creep: expected at least 3 readings in order of time, got {got}")
    if y[0] == zero:
        raise ValueError("creep: the first reading is that of zero load; put the weight on, then begin")
    change = (y - y[0]) / (y[0] - zero)
    worst = change[np.argmax(np.abs(change))]
    return CreepTest(float(worst), float(t[-1] - t[0]) / 60.0)


def lower_limit_n(fit: Fit) -> float:
    """Load below which scatter is too large a fraction: 2.4 residual standard deviations over the mean slope, N. After
    ASTM E74; a class multiplies it (400 for A, 2000 for AA) to get the lowest usable load.
    """
    return abs(LOWER_LIMIT_FACTOR * float(fit.residual_sd) / float(fit.scaled[1] / fit.half_width))


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Whether the means at each load lie on the fitted curve, judged by the scatter of repeats."""

    f: float
    dof_lack: int
    dof_pure: int
    p: float
    """Probability of so large an F by chance; if small: wrong order, or a blunder."""
    pure_error_sd: float


def lack_of_fit(
    load_n: npt.ArrayLike, reading: npt.ArrayLike, order: int, loop: Array | None = None
) -> LackOfFit | None:
    """The lack-of-fit test; None if no load was repeated, if there are too few different loads, or if the repeats agree
    to the last digit and so do not tell the scatter.

    loop: (n,) the reading of a hysteresis loop of unit opening. Its opening is then fitted beside the means and beside
    the curve, and costs the repeats a degree of freedom.
    """
    from scipy.special import fdtrc

    load, y = np.asarray(load_n, dtype=np.float64), np.asarray(reading, dtype=np.float64)
    levels, group = np.unique(load, return_inverse=True)
    dof_pure, dof_lack = len(y) - len(levels) - (loop is not None), len(levels) - order - 1
    if dof_pure < 1 or dof_lack < 1:
        return None
    rest = _about_means(group, y)
    if loop is not None:
        alone = _about_means(group, loop)
        rest = rest - float(alone @ rest) / float(alone @ alone) * alone
    ss_pure = float((rest**2).sum())
    if ss_pure <= (ROUNDING * float(np.abs(y).max())) ** 2:
        return None
    ss_lack = float(((fit_beside_loop(load, y, order, loop)[0].residuals - rest) ** 2).sum())
    f = (ss_lack / dof_lack) / (ss_pure / dof_pure)
    return LackOfFit(f, dof_lack, dof_pure, float(fdtrc(dof_lack, dof_pure, f)), math.sqrt(ss_pure / dof_pure))


def _about_means(group: Ints, y: Array) -> Array:
    """(n,) each value less the mean of its group."""
    from_middle = y - y.mean()
    return np.asarray(from_middle - (np.bincount(group, from_middle) / np.bincount(group))[group])


def _means(levels: Array, load: Array, y: Array) -> Array:
    """Mean reading at each of the levels, which rise; NaN where there is none."""
    at = np.minimum(np.searchsorted(levels, load), len(levels) - 1)
    here = levels[at] == load
    number = np.bincount(at[here], minlength=len(levels))
    with np.errstate(invalid="ignore"):
        return np.asarray(np.bincount(at[here], y[here], len(levels)) / number)


def _off_terminal_line(load_n: npt.ArrayLike, rising: npt.ArrayLike) -> tuple[Array, float]:
    """Deviations from the line zero to rated as fractions of rated output, and the rated output."""
    load, y = np.asarray(load_n, dtype=np.float64), np.asarray(rising, dtype=np.float64)
    first, last = int(np.argmin(load)), int(np.argmax(load))
    rated = float(y[last] - y[first])
    if rated == 0.0:
        raise ValueError("expected a reading that changes from the lowest to the highest load, got the same twice")
    line = y[first] + rated * (load - load[first]) / (load[last] - load[first])
    return np.asarray((y - line) / rated), rated
