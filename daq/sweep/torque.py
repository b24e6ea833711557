"""Crank torque where the power sensor was silent. A step or stroke without it is taken to have been ridden at the mean
of the others: the rider is asked to hold one power. How far that may be off is stated, and widens the step's error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from daq.values import Array, StepMean

FEWEST_KNOWN = 3
"""Fewer steps do not show how far their torques differ."""


def with_torque(steps: Sequence[StepMean]) -> tuple[Sequence[StepMean], Array]:
    """The steps with a torque for each of them and their strokes, and the standard uncertainty of each step's torque,
    (n,), N m, 0 where it was measured. Unchanged if it is not known for most of the steps.

    A step that lacks it is predicted by k others: their mean, with sd sqrt(1 + 1/k) (a further value of a normal
    sample). A stroke that lacks it has that of its step.
    """
    torque_nm = np.array([step.crank_torque_nm for step in steps], dtype=float)
    known = np.isfinite(torque_nm)
    k = int(known.sum())
    if k < FEWEST_KNOWN or 2 * k <= len(steps):
        return steps, np.zeros(len(steps))
    unsure_nm = float(np.std(torque_nm[known], ddof=1)) * math.sqrt(1.0 + 1.0 / k)
    torque_nm = np.where(known, torque_nm, torque_nm[known].mean())
    filled = [_filled(step, nm) for step, nm in zip(steps, torque_nm.tolist(), strict=True)]
    return filled, np.where(known, 0.0, unsure_nm)


def _filled(step: StepMean, torque_nm: float) -> StepMean:
    if step.crank_torque_nm == torque_nm and not any(math.isnan(stroke.crank_torque_nm) for stroke in step.strokes):
        return step
    strokes = tuple(
        replace(stroke, crank_torque_nm=torque_nm) if math.isnan(stroke.crank_torque_nm) else stroke
        for stroke in step.strokes
    )
    return replace(step, crank_torque_nm=torque_nm, strokes=strokes)
