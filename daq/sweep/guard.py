"""What forbids a verdict, whatever the curve looks like: a sum that cannot be, a jig that moved, a calibration that may
not be trusted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from daq.physics import weight_normal_n
from daq.values import FEET_SHARE, Onset, StepMean, Verdict

TILT_SPREAD_DEG = 0.5
"""A tilt that differs more between steps moves the saddle 6 mm against gravity at 700 mm height."""


def doubts(
    steps: Sequence[StepMean], *, mass_kg: float | None, g_m_s2: float, calibration: str = ""
) -> tuple[str, ...]:
    """One sentence for each thing that forbids a verdict; empty when nothing does.

    calibration: why the calibration may not be trusted, empty when it may.
    """
    return tuple(filter(None, (calibration, _feet(steps, mass_kg, g_m_s2), _tilt(steps))))


def guarded(answer: Onset, found: Sequence[str]) -> Onset:
    """The answer; without its numbers, undecided, when something forbids it.

    What was said of an onset names its place, so it goes too: no setback is read off a sweep without a verdict.
    """
    if not found:
        return answer
    return replace(
        answer,
        verdict=Verdict.UNDECIDED,
        onset_mm=None,
        interval_95_mm=None,
        suggested_setback_mm=None,
        reasons=tuple(found) if answer.onset_mm is not None else (*found, *answer.reasons),
    )


def _feet(steps: Sequence[StepMean], mass_kg: float | None, g_m_s2: float) -> str:
    if not mass_kg or not steps:
        return ""
    low, high = FEET_SHARE
    for step in steps:
        weight_n = weight_normal_n(mass_kg, step.tilt_deg, g_m_s2)
        share = 1.0 - (step.hand_load_n + step.saddle_load_n) / weight_n
        if not low <= share <= high:
            return (
                f"at {step.setback_mm:g} mm the feet would carry {100 * share:.0f} % of the weight; expected "
                f"{100 * low:.0f} to {100 * high:.0f} %: check the rider's mass, the zero and the cells"
            )
    return ""


def _tilt(steps: Sequence[StepMean]) -> str:
    tilts = [step.tilt_deg for step in steps if not math.isnan(step.tilt_deg)]
    if not tilts or max(tilts) - min(tilts) <= TILT_SPREAD_DEG:
        return ""
    return (
        f"the jig's tilt went from {min(tilts):.1f} to {max(tilts):.1f} degrees during the sweep; "
        f"expected within {TILT_SPREAD_DEG:g}: level it and ride the sweep again"
    )
