"""Made-up sweeps with one thing wrong each, and with nothing wrong. All numbers are assumptions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from daq.sweep.plan import out_and_back
from daq.sweep.validity.conditions import Conditions
from daq.sweep.validity.seen import seen
from daq.values import NAN, Onset, Result, Setting, Status, StepMean, Stroke, Verdict

STROKE_S, STROKES, MOVE_S, SETTLE_S = 2.0 / 3.0, 38, 20.0, 6.0
STEP_S = MOVE_S + SETTLE_S + STROKES * STROKE_S
OUT_AND_BACK = out_and_back(80.0, 30.0, 11)
ONE_WAY = tuple(float(mm) for mm in range(80, 25, -5))
WHOLE = Status(0)
"""Of every stroke: nothing wrong with it."""
SADDLE_CELLS, HAND_CELLS = ((2, -60.0), (3, -240.0)), (0, 1)
ON_THE_JIG = Conditions(
    calibrated=True,
    mass_kg=75.0,
    watched=True,
    torque_expected=True,
    order="out and back",
    protocol="reach kept",
    blinded=True,
    habitual_setback_mm=75.0,
    saddle_cells=SADDLE_CELLS,
    hand_cells=HAND_CELLS,
)
SIGHTED = replace(ON_THE_JIG, blinded=False)


def hinge(setback_mm):
    """An onset at 52 mm, 1.5 N/mm forward of it."""
    return 80.0 + 1.5 * max(52.0 - setback_mm, 0.0)


def flat(_):
    return 80.0


def kept(setback_mm):
    """The weight line of hips that go with the saddle, reach kept: 0.86 (model rider)."""
    return 90.0 - 0.86 * setback_mm


def sliding(setback_mm):
    """Of hips that stay in space while the saddle is behind 55 mm: 0.16 there, 0.85 forward (model rider)."""
    return 90.0 - 0.85 * min(setback_mm, 55.0) - 0.16 * max(setback_mm - 55.0, 0.0)


def answer(onset_mm=52.0, *, method="hinge-posterior/2"):
    """An answer of the statistics that names this onset."""
    return Onset(
        Verdict.ONSET, False, onset_mm, (onset_mm - 5.0, onset_mm + 5.0), 0.99, 0.005, 0.005, onset_mm, 1.0,
        onset_mm + 4.0, 80.0, 1.5, ("hand load rises",), method, p_loaded_at=((50.0, 0.6),),
    )  # fmt: skip


def sweep(
    rng,
    *,
    order=OUT_AND_BACK,
    load=hinge,
    weight_line=kept,
    sway_n=3.0,
    sway_s=2.5,
    drift_n_per_min=0.2,
    placed_mm=1.0,
    lag_s=0.0,
    between_n=0.0,
    more=lambda u, step: 0.0,
    left=lambda step: 0.0,
    believed=None,
    torque_nm=21.0,
):
    """The steps of one ride with their strokes.

    more(u, step): newtons on top, u from 0 to 1 over the sweep. left: newtons that go from right to left. believed: the
    setback the rider's hands follow, where it is not the one set.
    """
    setbacks = np.array(order) + placed_mm * rng.standard_normal(len(order))
    wander = _swaying(rng, len(order), sway_n, sway_s)
    steps, was = [], load(order[0])
    for i, (asked, true) in enumerate(zip(order, setbacks, strict=True)):
        level = load(float(true) if believed is None else believed[i])
        moved_s = STEP_S * i + MOVE_S
        t_s = moved_s + SETTLE_S + STROKE_S * np.arange(STROKES)
        going = np.exp(-(t_s - moved_s + MOVE_S) / lag_s) if lag_s else np.zeros(STROKES)
        hands = level + (was - level) * going + wander[i] + drift_n_per_min * t_s / 60.0
        was = level + (was - level) * (np.exp(-STEP_S / lag_s) if lag_s else 0.0)
        effort = torque_nm + 0.2 * rng.standard_normal() + 0.3 * rng.standard_normal(STROKES)
        hands += between_n * rng.standard_normal() - 2.0 * np.nan_to_num(effort - torque_nm)
        hands += more(t_s / (STEP_S * len(order)), i)
        strokes = _strokes(t_s, hands, effort, left(i) + 2.0 * rng.standard_normal())
        x_mm = weight_line(asked) + 2.9 * rng.standard_normal()
        step = StepMean(asked, float(hands.mean()), NAN, float(t_s.mean()) / 60.0, float(effort.mean()), 400.0, 0.0)
        steps.append(replace(step, strokes=strokes, weight_line_mm=x_mm, moved_min=moved_s / 60.0, u_setback_mm=1.0))
    return steps


def _strokes(t_s, hands, effort, left_n):
    return tuple(
        Stroke(
            t, t + STROKE_S, n, 400.0 - 0.5 * n, NAN, 0.0, q, NAN, (n / 2 + left_n, n / 2 - left_n, 250.0, 150.0), 67,
            WHOLE,
        )
        for t, n, q in zip(t_s.tolist(), hands.tolist(), effort.tolist(), strict=True)
    )  # fmt: skip


def _swaying(rng, steps, sd_n, tau_s):
    """Ornstein-Uhlenbeck series with white scatter of 2 N, one value a stroke."""
    held = np.exp(-STROKE_S / tau_s)
    z = rng.standard_normal((steps, STROKES))
    x = np.empty_like(z)
    x[:, 0] = sd_n * z[:, 0]
    for i in range(1, STROKES):
        x[:, i] = held * x[:, i - 1] + sd_n * np.sqrt(1.0 - held**2) * z[:, i]
    return x + 2.0 * rng.standard_normal((steps, STROKES))


def with_bar(steps, bar_x_mm, *, bar_y_mm=NAN):
    """The same with the bar set by bar_x_mm(setback)."""
    return [replace(s, setting=Setting(bar_x_mm=bar_x_mm(s.setback_mm), bar_y_mm=bar_y_mm)) for s in steps]


def with_tilt(steps, tilt_deg):
    """The same with the saddle's tilt entered as tilt_deg(setback)."""
    return [replace(s, setting=Setting(saddle_tilt_deg=tilt_deg(s.setback_mm))) for s in steps]


def share_failed(test, count, *, conditions=ON_THE_JIG, seed=1, onset_mm=52.0, **ride):
    """In which share of so many sweeps the test fails."""
    return shares_failed([test], count, conditions=conditions, seed=seed, onset_mm=onset_mm, **ride)[test]


def shares_failed(tests, count, *, conditions=ON_THE_JIG, seed=1, onset_mm=52.0, **ride):
    """The same of several tests of the same sweeps: what one has computed of a sweep, the next finds there."""
    rng = np.random.default_rng(seed)
    each = (seen(answer(onset_mm), sweep(rng, **ride), conditions) for _ in range(count))
    failed = [[test(one).result is Result.FAILED for test in tests] for one in each]
    return dict(zip(tests, np.mean(failed, axis=0), strict=True))


def ride(**changes):
    return sweep(np.random.default_rng(5), **changes)
