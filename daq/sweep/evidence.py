"""What an estimator sees of a sweep: setbacks, hand loads, how well each is known, and what else moves hand load. If
every step has strokes, they give the standard errors and the torque's effect (pooled model); otherwise a standard error
given for every step is used; without either, the scatter of the steps about the fitted line has to do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from daq.sweep import sway
from daq.sweep.lag import Dwells, dwells
from daq.sweep.noise import PooledLevels
from daq.sweep.places import SAME_PLACE_MM, places
from daq.sweep.plan import FEWEST_POSITIONS
from daq.sweep.pooled import Pooled, pooled
from daq.sweep.torque import with_torque
from daq.sweep.witness import COVARIATE_FACTOR, Witness
from daq.values import Array, StepMean

DRIFT_N_PER_MIN = 1.0
"""Prior standard deviation of a linear drift; drifts up to 1 N/min occur."""
TORQUE_N_PER_NM = -2.25
TORQUE_SPREAD = 1.25
"""Hand load per N m of mean crank torque, -1 to -3.5: more torque at the pedals carries more of the trunk."""
TORQUE_WITHIN_SPREAD = 0.4
"""How far the effect between steps may differ from the effect from stroke to stroke."""
LEAST_ERROR_N = 0.05
"""No step's mean is known better under a rider; smaller standard errors are replaced by this."""
MOVED_TOGETHER = 0.8
"""Above this correlation, the effect of time or torque cannot be separated from that of setback."""
TORQUE_MATTERS_NM = 0.25
"""A range of step torques below this moves hand load by less than a newton."""


PLACED_MM = 1.0
"""Standard uncertainty of a setback set on the jig's scale and read by eye. Common practice, no source."""
WanderModel: TypeAlias = Callable[..., list[PooledLevels]]


class TooFewPositions(ValueError):
    """Too few distinct setbacks to tell a level part from a rise."""


@dataclass(frozen=True, eq=False, slots=True)
class Trend:
    """Change of hand load from the beginning of each dwell to its end, (n,), N, and its standard error."""

    change_n: Array
    se_n: Array
    covariates: Array
    """(n, k) change of the covariates over each dwell; the torque's effect is already removed."""


@dataclass(frozen=True, eq=False, slots=True)
class StepEvidence:
    """n steps as arrays, ready for an estimator."""

    setback_mm: Array
    hands_n: Array
    se_n: Array | None
    covariates: Array
    """(n, k): minutes and newton metres about their means, if known and varying."""
    covariate_means: Array
    covariate_sds: Array
    witness: Witness | None
    """The saddle's load, if the strokes of every step have it."""
    minutes: float
    """Riding time from the first step's middle to the last's, stretched to whole steps; NaN when unknown."""
    notes: tuple[str, ...]
    """What the reader of the answer has to know about the input, one sentence each."""
    u_setback_mm: Array
    """(n,) standard uncertainty of where the saddle was."""
    dwells: Dwells | None = None
    """When the saddle was moved and the steps averaged; None if unknown."""
    trend: Trend | None = None
    """How hand load went on changing within the dwells; None without strokes or the times of the moves."""

    @property
    def forward_mm(self) -> Array:
        """It grows as the rider comes forward."""
        return -self.setback_mm

    @property
    def positions_mm(self) -> Array:
        """Setbacks that count as different, rearmost first."""
        return -places(-self.setback_mm)


def gathered(steps: Sequence[StepMean], levels: WanderModel = sway.levels, *, fill: bool = True) -> StepEvidence:
    """The evidence of these steps. TooFewPositions, or ValueError if a setback or hand load is not finite. levels: the
    model of the sway; methods before `hinge-posterior/3` have their own. fill: a torque that the sensor missed on a
    step is taken from the others; methods before `hinge-posterior/4` then did without torque on every step.
    """
    steps, u_torque_nm = with_torque(steps) if fill else (steps, np.zeros(len(steps)))
    setback_mm = _numbers(steps, "setback_mm")
    hands_n = _numbers(steps, "hand_load_n")
    distinct = len(places(setback_mm))
    if distinct < FEWEST_POSITIONS:
        raise TooFewPositions(
            f"expected steps at {FEWEST_POSITIONS} or more different setbacks, got {distinct}: ride more positions"
            + (f", at least {SAME_PLACE_MM:g} mm apart" if distinct < len(np.unique(setback_mm)) else "")
        )
    model = pooled(steps, levels)
    times = dwells(steps)
    torque_nm = step_torques(steps, model)
    t_min = np.array([step.t_min for step in steps])
    covariates, means, sds, notes = _covariates(setback_mm, t_min, torque_nm, model)
    se_n = _given_errors(steps) if model is None else np.maximum(model.hands.se_n, LEAST_ERROR_N)
    return StepEvidence(
        setback_mm=setback_mm,
        hands_n=hands_n if model is None else model.hands.load_n,
        se_n=None if se_n is None else with_missed_torque(se_n, u_torque_nm, model),
        covariates=covariates,
        covariate_means=means,
        covariate_sds=sds,
        witness=_witness(model, sds),
        minutes=float(np.ptp(t_min)) * len(steps) / (len(steps) - 1),
        notes=notes,
        u_setback_mm=_placed_within(steps),
        dwells=times,
        trend=_trend(model, times, np.ptp(t_min) > 0.0, len(means)),
    )


def _placed_within(steps: Sequence[StepMean]) -> Array:
    """As stated; otherwise PLACED_MM for a ridden step, 0 for a row of a table."""
    told_mm = np.array([step.u_setback_mm for step in steps], dtype=float)
    otherwise_mm = np.where([bool(step.strokes) for step in steps], PLACED_MM, 0.0)
    return np.asarray(np.where(told_mm >= 0.0, told_mm, otherwise_mm))


def _trend(model: Pooled | None, times: Dwells | None, drifts: bool, covariates: int) -> Trend | None:
    if model is None or model.hands.trend_n is None or model.hands.trend_se_n is None:
        return None
    if times is None or not times.confirmed:
        return None
    change = np.zeros((len(model.hands.trend_n), covariates))
    if drifts:
        change[:, 0] = times.seen_min[:, -1] - times.seen_min[:, 0]
    return Trend(model.hands.trend_n, np.maximum(model.hands.trend_se_n, LEAST_ERROR_N), change)


def with_missed_torque(se_n: Array, u_torque_nm: Array, model: Pooled | None) -> Array:
    """Standard errors of steps, N, with what a torque that is known to u_torque_nm only may have done to them."""
    return np.asarray(np.hypot(se_n, u_torque_nm * math.hypot(*torque_effect(model))))


def stroke_errors(steps: Sequence[StepMean]) -> Array:
    """Standard error of each step's hand load by its strokes alone, N: from the pooled model, otherwise as given; NaN
    without either. `step_errors.py` has what is stated."""
    model = pooled(steps)
    return np.array([step.se_n for step in steps]) if model is None else model.hands.se_n


def _numbers(steps: Sequence[StepMean], name: str) -> Array:
    values = np.array([getattr(step, name) for step in steps], dtype=float)
    for i in np.flatnonzero(~np.isfinite(values))[:1]:
        raise ValueError(
            f"step {i + 1}: {name} expected a number, got {values[i]:g}: leave the step out or ride it again"
        )
    return values


def _given_errors(steps: Sequence[StepMean]) -> Array | None:
    errors_n = np.array([step.se_n for step in steps], dtype=float)
    return np.maximum(errors_n, LEAST_ERROR_N) if bool(np.all(errors_n > 0.0)) else None


def _witness(model: Pooled | None, covariate_sds: Array) -> Witness | None:
    if model is None or model.witness is None:
        return None
    return Witness(model.witness.load_n, model.witness.se_n, COVARIATE_FACTOR * covariate_sds)


def _covariates(
    setback_mm: Array, t_min: Array, torque_nm: Array, model: Pooled | None
) -> tuple[Array, Array, Array, tuple[str, ...]]:
    """Columns that vary, their prior means and standard deviations, and notes about them."""
    columns: list[Array] = []
    priors: list[tuple[float, float]] = []
    notes: list[str] = []
    if not np.ptp(t_min) > 0.0:  # NaN, or the same time for all
        notes.append("the steps' times are not known: a drift of hand load cannot be told from an effect of setback")
    else:
        columns.append(t_min - t_min.mean())
        priors.append((0.0, DRIFT_N_PER_MIN))
    if np.ptp(torque_nm) > 0.0:  # False if unknown
        columns.append(torque_nm - torque_nm.mean())
        priors.append(torque_effect(model))
        if torque_went_along(setback_mm, torque_nm):
            notes.append(
                "crank torque went along with setback, so their effects can hardly be told apart: "
                "hold the power and ride out and back"
            )
    matrix = np.column_stack(columns) if columns else np.empty((len(setback_mm), 0))
    means, sds = np.array(priors).reshape(-1, 2).T
    return matrix, means, sds, tuple(notes)


def torque_effect(model: Pooled | None) -> tuple[float, float]:
    """Hand load per N m of crank torque and its standard deviation, N/Nm: the prior combined with what the strokes
    within steps show."""
    if model is None or not np.isfinite(model.hands.torque_effect_se):
        return TORQUE_N_PER_NM, TORQUE_SPREAD
    known = np.array([TORQUE_SPREAD**-2, 1.0 / (model.hands.torque_effect_se**2 + TORQUE_WITHIN_SPREAD**2)])
    mean = known @ np.array([TORQUE_N_PER_NM, model.hands.torque_effect]) / known.sum()
    return float(mean), float(known.sum() ** -0.5)


def step_torques(steps: Sequence[StepMean], model: Pooled | None) -> Array:
    """Crank torque of each step, N m, by its strokes where they all have it."""
    if model is not None and np.isfinite(model.hands.torque_nm).all():
        return model.hands.torque_nm
    return np.array([step.crank_torque_nm for step in steps])


def torque_went_along(setback_mm: Array, torque_nm: Array) -> bool:
    """Whether known torques differ by enough to matter and went along with setback, so that their effects can hardly be
    told apart."""
    if np.ptp(torque_nm) <= TORQUE_MATTERS_NM:
        return False
    return bool(abs(np.corrcoef(setback_mm, torque_nm)[0, 1]) > MOVED_TOGETHER)
