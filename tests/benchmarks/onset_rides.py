"""Made-up sweeps with a known onset, for measuring the estimator: step values, and whole stroke series.

All numbers are assumptions about riders, stated here: sway 5 N with 5 s correlation, torque wandering by about 1 N m
with an effect of -1.3 to -2.8 N/Nm, drift, a scatter of 2 N from stroke to stroke. Every sweep has its own generator,
seeded by condition and number, so any one can be looked at alone.
"""

from dataclasses import dataclass

import numpy as np

from daq.sweep.plan import out_and_back
from daq.values import NAN, Status, StepMean, Stroke

REAR_MM, FRONT_MM = 80.0, 30.0
CENTRAL_MM = (40.0, 70.0)
"""Onsets lie in the central 60 % of the sweep."""
LEVEL_N = 80.0
MINUTES_PER_STEP = 0.7


@dataclass(frozen=True)
class StepWorld:
    """A sweep given as step values with independent errors."""

    name: str
    added: float = 1.5
    """N/mm forward of the onset; 0: no onset."""
    sigma: float = 2.0
    behind: float = 0.0
    outlier: float = 0.0
    drift: float = 0.0
    bend_mm: float = 0.0
    n: int = 11
    errors_given: bool = False


def rise(z, bend_mm):
    """Millimetres of rise at z mm forward of the bend's middle; a parabola joins both lines over bend_mm."""
    if bend_mm == 0.0:
        return np.maximum(z, 0.0)
    inside = (z + bend_mm / 2.0) ** 2 / (2.0 * bend_mm)
    return np.where(np.abs(z) < bend_mm / 2.0, inside, np.maximum(z, 0.0))


def hand_load(world, onset_mm, setback_mm, minute, rng):
    """One step's hand load."""
    z = onset_mm - setback_mm
    mean = LEVEL_N + world.behind * z + world.added * float(rise(np.array(z), world.bend_mm))
    return mean + world.drift * minute + world.sigma * rng.standard_normal()


def step_sweep(world, number):
    """Onset and steps of one sweep, out and back."""
    rng = np.random.default_rng([number, *world.name.encode()])
    onset_mm = rng.uniform(*CENTRAL_MM)
    steps = []
    for i, setback_mm in enumerate(out_and_back(REAR_MM, FRONT_MM, world.n)):
        load = hand_load(world, onset_mm, setback_mm, i * MINUTES_PER_STEP, rng)
        steps.append(step_of(setback_mm, load, i * MINUTES_PER_STEP, world.sigma if world.errors_given else NAN))
    if world.outlier:
        bad = rng.integers(world.n)
        load = steps[bad].hand_load_n + world.outlier * rng.choice([-1.0, 1.0])
        steps[bad] = step_of(steps[bad].setback_mm, load, steps[bad].t_min, steps[bad].se_n)
    return onset_mm, steps


def step_of(setback_mm, load, minute, se_n=NAN, torque_nm=NAN, strokes=()):
    return StepMean(setback_mm, float(load), se_n, float(minute), torque_nm, NAN, 0.0, strokes)


@dataclass(frozen=True)
class StrokeWorld:
    """A sweep given as strokes: small slopes, sway, wandering torque."""

    name: str
    dwell_s: float = 25.0
    n: int = 11
    added: tuple[float, float] = (0.2, 0.5)
    saddle_follows: float = -1.0
    """Saddle load gained per newton that the onset puts on the hands. Sway moves it by -0.6 to -1.2."""
    sway_n: float = 5.0
    sway_s: float = 5.0
    scatter_n: float = 2.0
    torque_nm: float = 0.6
    """Standard deviation of its wander, so about +-1 N m."""
    torque_s: float = 40.0


STROKE_S = 2.0 / 3.0
SETTLE_S = 15.0


def wander(rng, n, sd, tau_s):
    """Stationary Ornstein-Uhlenbeck values, one a stroke."""
    keep = np.exp(-STROKE_S / tau_s)
    kicks = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal(n)
    x = np.empty(n)
    x[0] = sd * rng.standard_normal()
    for i in range(1, n):
        x[i] = keep * x[i - 1] + kicks[i]
    return x


class SwayingRider:
    """One rider of a StrokeWorld: n positions can be ridden, in any order, each once its turn comes."""

    def __init__(self, world, number):
        rng = np.random.default_rng([number, *world.name.encode()])
        self.onset_mm = rng.uniform(*CENTRAL_MM)
        self._added = rng.uniform(*world.added) if world.added[1] > 0.0 else 0.0
        self._per_nm, drift = rng.uniform(-2.8, -1.3), rng.normal(0.0, 0.4)
        sway_ratio, self._curve_n, self._slope = rng.uniform(-1.2, -0.6), rng.normal(0.0, 6.0), rng.normal(0.0, 1.5)
        self._dwell, self._rest = round(world.dwell_s / STROKE_S), round(SETTLE_S / STROKE_S)
        total = world.n * (self._dwell + self._rest)
        self._t_s = STROKE_S * np.arange(total)
        sway = wander(rng, total, world.sway_n, world.sway_s)
        torque = 21.2 + wander(rng, total, world.torque_nm, world.torque_s)
        seat = wander(rng, total, 2.0, world.sway_s) + world.scatter_n * rng.standard_normal(total)
        scatter = world.scatter_n * rng.standard_normal(total)
        self._told_nm = torque + 0.1 * rng.standard_normal(total)
        self._hands_n = LEVEL_N + self._per_nm * (torque - 21.2) + drift * self._t_s / 60.0 + sway + scatter
        self._saddle_n = 430.0 + sway_ratio * sway - 1.5 * (torque - 21.2) + seat
        self._follows = world.saddle_follows

    def step(self, turn, setback_mm):
        """The step at this setback when it is ridden as number `turn`."""
        first = turn * (self._dwell + self._rest) + self._rest
        k = slice(first, first + self._dwell)
        onto_hands = self._added * max(self.onset_mm - setback_mm, 0.0)
        off = (setback_mm - 55.0) / 25.0
        hands = self._hands_n[k] + onto_hands
        saddle = self._saddle_n[k] + 25.0 * self._slope * off + self._curve_n * off**2 + self._follows * onto_hands
        t_s, told_nm = self._t_s[k], self._told_nm[k]
        strokes = tuple(map(_stroke, t_s, hands, saddle, told_nm))
        return step_of(setback_mm, hands.mean(), t_s.mean() / 60.0, NAN, float(told_nm.mean()), strokes)


def stroke_sweep(world, number):
    """Onset and steps with their strokes, evenly spaced, out and back."""
    rider = SwayingRider(world, number)
    setbacks = out_and_back(REAR_MM, FRONT_MM, world.n)
    return rider.onset_mm, [rider.step(i, setback_mm) for i, setback_mm in enumerate(setbacks)]


def _stroke(start_s, hands_n, saddle_n, torque_nm):
    return Stroke(
        float(start_s), float(start_s + STROKE_S), float(hands_n), float(saddle_n), NAN, 0.0, float(torque_nm), NAN, (),
        67, Status(0),
    )  # fmt: skip
