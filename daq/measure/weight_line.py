"""The rider's weight line at one step, from the pressure centre on nose and rear cells, and the forces along the jig
where cells measure them.

A single saddle cell moves with the saddle and cannot show where on it the rider sits: then there is no weight line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.measure.balance import CELLS_U_N, Contact, UnseenHands, WeightLine, weight_line
from daq.measure.geometry import tilt_deg_of
from daq.measure.mechanics import load_point_m
from daq.physics import weight_normal_n
from daq.values import NAN, StepMean


@dataclass(frozen=True, slots=True)
class Levers:
    """Where the contacts of a jig are, jig frame."""

    bar_x_m: float
    """Of the hands, for the saddle at bar_goes_from_mm."""
    bar_y_m: float
    saddle_y_m: float
    saddle_cells: tuple[tuple[int, float], ...]
    """(column of cells_n, x_mm at setback 0) of each saddle cell with a known position."""
    hands_tangential: tuple[int, ...] = ()
    """Columns of cells_n of the cells that measure the hands' force along the jig."""
    saddle_tangential: tuple[int, ...] = ()

    @property
    def tells(self) -> bool:
        """Whether two or more cells sit at different positions under the saddle."""
        return len({x_mm for _, x_mm in self.saddle_cells}) > 1


def along_n(step: StepMean, columns: Sequence[int]) -> float | None:
    """Mean force along the jig over the strokes of a step, N, summed over these columns of cells_n; None of none."""
    if not columns:
        return None
    return float(np.mean([stroke.cells_n for stroke in step.strokes], axis=0)[list(columns)].sum())


def contacts(
    step: StepMean,
    levers: Levers,
    bar_goes_from_mm: float | None,
    *,
    u_hands_n: float = CELLS_U_N,
    u_saddle_n: float = CELLS_U_N,
) -> tuple[Contact, Contact]:
    """Hands and saddle at a step with strokes, on a jig that `tells`: where the mean load of each acts, and its
    standard uncertainty. The saddle's place is NaN without load on it. bar_goes_from_mm: as of weight_line_mm.
    """
    columns, x_mm = zip(*levers.saddle_cells, strict=True)
    cells_n = np.mean([stroke.cells_n for stroke in step.strokes], axis=0)[list(columns)]
    saddle_x_m = load_point_m(cells_n, (np.array(x_mm) - step.setback_mm) / 1000.0)
    hands_t, saddle_t = (along_n(step, each) for each in (levers.hands_tangential, levers.saddle_tangential))
    return (
        Contact(*_bar_m(step, levers, bar_goes_from_mm), step.hand_load_n, hands_t, u_hands_n),
        Contact(saddle_x_m, levers.saddle_y_m, step.saddle_load_n, saddle_t, u_saddle_n),
    )


def _bar_m(step: StepMean, levers: Levers, bar_goes_from_mm: float | None) -> tuple[float, float]:
    """Where the hands were at a step, forward of the BB and above it, m: as stated there, otherwise as planned."""
    moved_mm = 0.0 if bar_goes_from_mm is None else step.setback_mm - bar_goes_from_mm
    x_mm, y_mm = step.setting.bar_x_mm, step.setting.bar_y_mm
    return (
        x_mm / 1000.0 if math.isfinite(x_mm) else levers.bar_x_m - moved_mm / 1000.0,
        y_mm / 1000.0 if math.isfinite(y_mm) else levers.bar_y_m,
    )


def tilt_at_deg(step: StepMean, gradient_pct: float) -> float:
    """The jig's tilt at a step as measured; without a tilt sensor that of the planned gradient."""
    return tilt_deg_of(gradient_pct) if math.isnan(step.tilt_deg) else step.tilt_deg


def line_at(
    step: StepMean,
    on: tuple[Contact, Contact],
    *,
    mass_kg: float,
    g_m_s2: float,
    gradient_pct: float,
    unseen: UnseenHands,
) -> WeightLine:
    """The rider's weight line at a step, from the contacts of hands and saddle. gradient_pct: as of tilt_at_deg."""
    tilt_deg = tilt_at_deg(step, gradient_pct)
    return weight_line(
        *on,
        torque_nm=step.crank_torque_nm,
        weight_normal_n=weight_normal_n(mass_kg, tilt_deg, g_m_s2),
        tilt_deg=tilt_deg,
        unseen=unseen,
    )


def weight_line_mm(
    step: StepMean,
    levers: Levers,
    *,
    mass_kg: float | None,
    g_m_s2: float,
    gradient_pct: float,
    bar_goes_from_mm: float | None,
    unseen: UnseenHands,
) -> tuple[float, float]:
    """Where the weight line crosses the jig's x axis, mm forward of the BB, minus its estimated bias from the tilt and
    from the hands' force along the jig, and its standard uncertainty, mm. gradient_pct: as planned, as of tilt_at_deg.
    bar_goes_from_mm: the setback from which the bar moves along with the saddle; None: it stays. The setting stated at
    the step takes precedence. NaN, both, if cells, mass or crank torque do not determine it.
    """
    if not (levers.tells and mass_kg and step.strokes) or math.isnan(step.crank_torque_nm):
        return NAN, NAN
    on = contacts(step, levers, bar_goes_from_mm)
    line = line_at(step, on, mass_kg=mass_kg, g_m_s2=g_m_s2, gradient_pct=gradient_pct, unseen=unseen)
    return 1000.0 * line.estimate_m, 1000.0 * line.u_m
