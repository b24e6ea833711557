"""Small made-up sweeps for the tests of the onset. All numbers are assumptions."""

from dataclasses import replace

import numpy as np

from daq.sweep.plan import out_and_back
from daq.values import NAN, Status, StepMean, Stroke

STROKE_S = 2.0 / 3.0


def step(setback_mm, hand_load_n, t_min=NAN, *, se_n=NAN, torque_nm=NAN, strokes=()):
    return StepMean(float(setback_mm), float(hand_load_n), se_n, float(t_min), torque_nm, NAN, 0.0, tuple(strokes))


def stroke(start_s, hands_n, saddle_n=400.0, torque_nm=21.0):
    end_s = float(start_s) + STROKE_S
    return Stroke(
        float(start_s), end_s, float(hands_n), float(saddle_n), NAN, 0.0, float(torque_nm), NAN, (), 67, Status(0)
    )


def ride(load_of, *, noise_n=0.0, seed=0, n=11, rear_mm=80.0, front_mm=30.0, **fields):
    """Steps out and back, hand load load_of(setback) and independent errors."""
    errors = noise_n * np.random.default_rng(seed).standard_normal(n)
    setbacks = out_and_back(rear_mm, front_mm, n)
    return [step(s, load_of(s) + e, 0.7 * i, **fields) for i, (s, e) in enumerate(zip(setbacks, errors, strict=True))]


def hinge(onset_mm, added=1.5, level_n=80.0):
    return lambda setback_mm: level_n + added * max(onset_mm - setback_mm, 0.0)


def swaying(n, rng, *, sd_n=5.0, tau_s=5.0, scatter_n=2.0):
    """An Ornstein-Uhlenbeck series with white scatter, one value a stroke."""
    keep = np.exp(-STROKE_S / tau_s)
    x = np.empty(n)
    x[0] = sd_n * rng.standard_normal()
    for i in range(1, n):
        x[i] = keep * x[i - 1] + sd_n * np.sqrt(1.0 - keep**2) * rng.standard_normal()
    return x + scatter_n * rng.standard_normal(n)


def stroke_ride(load_of, *, seed=0, strokes=38, saddle=lambda hands, rng: 400.0 - hands, **sway):
    """Steps out and back with their strokes."""
    rng = np.random.default_rng(seed)
    steps = []
    for i, setback_mm in enumerate(out_and_back(80.0, 30.0, 11)):
        hands = load_of(setback_mm) + swaying(strokes, rng, **sway)
        start_s = 45.0 * i + STROKE_S * np.arange(strokes)
        torque = 21.0 + 0.3 * rng.standard_normal()
        held = [stroke(t, h, s, torque) for t, h, s in zip(start_s, hands, saddle(hands, rng), strict=True)]
        steps.append(step(setback_mm, hands.mean(), start_s.mean() / 60.0, torque_nm=torque, strokes=held))
    return steps


def silent(steps, *places):
    """The same steps, ridden while the power sensor was silent at these places."""

    def without(step):
        strokes = tuple(replace(stroke, crank_torque_nm=NAN) for stroke in step.strokes)
        return replace(step, crank_torque_nm=NAN, strokes=strokes)

    return [without(step) if i in places else step for i, step in enumerate(steps)]
