"""Wander of hand load made without the estimator's model of it, for measuring what the estimator states of it.

The load is made at 12 instants a second, then averaged over strokes of 0.6 to 0.75 s as a jig does; the estimator's own
model takes strokes for samples of an Ornstein-Uhlenbeck process with white scatter. Here sway is one of several
kinds, each scaled to the standard deviation and the correlation time asked for (integral of the correlation from
minus to plus infinity = 2 tau): what a mean over a long dwell scatters by then is the same for all of them. Torque
wanders on several time scales at once and moves hand load. All sizes are assumptions about riders.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.sweep.plan import interleaved
from daq.values import NAN, Status, StepMean, Stroke

PER_S = 12
KINDS = ("one time scale", "critically damped", "two time scales", "swinging")
TORQUE_TAUS_S = (1.5, 8.0, 40.0)


@dataclass(frozen=True)
class Sway:
    """How one rider's load wanders."""

    kind: str = "one time scale"
    sd_n: float = 5.0
    tau_s: float = 5.0
    torque_sd_nm: float = 0.6
    torque_n_per_nm: float = -2.0
    torque_error_nm: float = 0.3
    """Of reading one stroke's torque."""
    scatter_n: float = 1.0
    """White, from stroke to stroke."""


@dataclass(frozen=True)
class Dwell:
    """Strokes of one dwell as arrays; times from its beginning."""

    start_s: np.ndarray
    end_s: np.ndarray
    hands_n: np.ndarray
    told_nm: np.ndarray
    mean_torque_nm: float


def wander(kind: str, count: int, tau_s: float, rng: np.random.Generator) -> np.ndarray:
    """Stationary values of unit variance, PER_S a second."""
    if kind == "one time scale":
        return first_order(count, tau_s, rng)
    if kind == "two time scales":
        return np.sqrt(0.6) * first_order(count, 0.4 * tau_s, rng) + np.sqrt(0.4) * first_order(count, 1.9 * tau_s, rng)
    if kind == "critically damped":
        return second_order(count, 0.5 * tau_s, 0.0, rng)
    if kind == "swinging":
        return second_order(count, tau_s, 1.0 / tau_s, rng)
    raise ValueError(kind)


def first_order(count: int, tau_s: float, rng: np.random.Generator) -> np.ndarray:
    from scipy.signal import lfilter

    keep = np.exp(-1.0 / PER_S / tau_s)
    start = rng.standard_normal()
    kicks = np.sqrt(1.0 - keep**2) * rng.standard_normal(count)
    return lfilter([1.0], [1.0, -keep], kicks, zi=[keep * start])[0]


def second_order(count: int, decay_s: float, turn: float, rng: np.random.Generator) -> np.ndarray:
    """An AR(2) process with poles exp((-1/decay +- i turn) dt), run in first; scaled to unit variance exactly."""
    from scipy.signal import lfilter

    pole = np.exp((-1.0 / decay_s + 1j * turn) / PER_S)
    a1, a2 = 2.0 * pole.real, -(abs(pole) ** 2)
    variance = (1.0 - a2) / ((1.0 + a2) * ((1.0 - a2) ** 2 - a1**2))
    warm = int(12 * decay_s * PER_S)
    return lfilter([1.0], [1.0, -a1, -a2], rng.standard_normal(count + warm))[warm:] / np.sqrt(variance)


def strokes_of(sway: Sway, dwell_s: float, rng: np.random.Generator) -> Dwell:
    """One dwell of a rider whose level is 0 N at a torque of 21 N m."""
    count = round(dwell_s * PER_S)
    torque = 21.0 + sway.torque_sd_nm * np.mean(
        [first_order(count, tau_s, rng) for tau_s in TORQUE_TAUS_S], axis=0
    ) * np.sqrt(len(TORQUE_TAUS_S))
    load = sway.sd_n * wander(sway.kind, count, sway.tau_s, rng) + sway.torque_n_per_nm * (torque - 21.0)
    edges = np.append(0.0, np.cumsum(rng.uniform(0.6, 0.75, int(dwell_s / 0.55))))
    at = (edges[edges < dwell_s] * PER_S).round().astype(int)
    hands, turning = (np.add.reduceat(each[: at[-1]], at[:-1]) / np.diff(at) for each in (load, torque))
    return Dwell(
        start_s=at[:-1] / PER_S,
        end_s=at[1:] / PER_S,
        hands_n=hands + sway.scatter_n * rng.standard_normal(len(hands)),
        told_nm=turning + sway.torque_error_nm * rng.standard_normal(len(hands)),
        mean_torque_nm=float(torque[: at[-1]].mean()),
    )


def stroke(start_s, end_s, hands_n, saddle_n, torque_nm):
    numbers = (float(each) for each in (start_s, end_s, hands_n, saddle_n))
    return Stroke(*numbers, NAN, 0.0, float(torque_nm), NAN, (), 67, Status(0))


SETBACKS_MM = interleaved(np.linspace(80.0, 30.0, 11).tolist())
RISES_N_PER_MM = (0.0, 0.4, 1.0)
"""Forward of BENDS_MM, of the sweeps of each number modulo three."""
BENDS_MM = 55.0


def levels_n(number: int, setback_mm: np.ndarray) -> np.ndarray:
    """Hand load without sway at a torque of 21 N m, of a sweep of this number."""
    return RISES_N_PER_MM[number % 3] * np.maximum(BENDS_MM - setback_mm, 0.0)


def level_sweep(sway: Sway, dwell_s: float, number: int):
    """Steps of one sweep out and back, and the mean load each would have without sway, at its true mean torque."""
    rng = np.random.default_rng([number, round(dwell_s), round(10 * sway.tau_s), *sway.kind.encode()])
    steps, true_n = [], levels_n(number, np.array(SETBACKS_MM))
    for i, setback_mm in enumerate(SETBACKS_MM):
        dwell = strokes_of(sway, dwell_s, rng)
        hands_n = dwell.hands_n + true_n[i]
        true_n[i] += sway.torque_n_per_nm * (dwell.mean_torque_nm - 21.0)
        begun_s = i * (dwell_s + 26.0)
        rows = zip(dwell.start_s, dwell.end_s, hands_n, dwell.told_nm, strict=True)
        strokes = tuple(stroke(begun_s + a, begun_s + b, h, NAN, q) for a, b, h, q in rows)
        mean_n, mean_nm = float(hands_n.mean()), float(dwell.told_nm.mean())
        steps.append(StepMean(setback_mm, mean_n, NAN, begun_s / 60.0, mean_nm, NAN, 0.0, strokes))
    return steps, true_n
