"""What a person who reads a scale gets wrong, named at once: another unit, a digit lost, a reading copied.

A reading is compared with those of the same sweep; nothing is known before the first few.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from daq.physics import STANDARD_G_M_S2

FEWEST = 3
"""The number of readings needed before one can be judged by the others."""
FACTORS = (
    (STANDARD_G_M_S2, "newtons typed for kilograms, or a decimal point left out", "kilograms typed for newtons"),
    (2.20462, "pounds typed for kilograms", "kilograms typed for pounds"),
    (STANDARD_G_M_S2 / 2.20462, "newtons typed for pounds", "pounds typed for newtons"),
)
"""How much larger a reading comes out, and what was done when it is larger or smaller by that."""
MORE, LESS = 1.35, 1.15
"""Hands carry at most so much more than in any reading of the sweep before, or less: they load as the saddle comes
forward, and behind the onset they stay as they are. Assumption."""
FAR = 3.0
"""Beyond this ratio to the usual reading something is wrong even when no factor fits."""
COPIED = 2
"""So many readings in a row the same as those of the step before are no chance on a scale with a fine display."""


def blunder(typed: str, before: Sequence[str], step: Sequence[str], step_before: Sequence[str]) -> str:
    """What seems wrong with this reading, in one sentence; empty if nothing does.

    typed: as typed. before: all readings of the sweep so far. step: those of this step, without it. step_before: those
    of the step before.
    """
    at = len(step)
    first = max(0, at + 1 - COPIED)
    now, then = [*step, typed][first:], list(step_before)[first : at + 1]
    fine = len(set(before)) > len(before) / 2
    if fine and len(now) == COPIED and now == then:
        return f"{' and '.join(now)} are the readings of the step before, in the same order: copied?"
    if len(before) < FEWEST:
        return ""
    values = [float(one) for one in before]
    usual, value = statistics.median(values), float(typed)
    if not min(values) > 0.0:
        return ""
    low, high = min(values) / LESS, max(values) * MORE
    if low <= value <= high:
        return ""
    if lost := _lost_digit(typed, before, usual):
        return lost
    for factor, larger, smaller in FACTORS:
        if low <= value / factor <= high:
            return f"{typed} against {usual:g} before: {larger}?"
        if low <= value * factor <= high:
            return f"{typed} against {usual:g} before: {smaller}?"
    if not usual / FAR <= value <= usual * FAR:
        return f"{typed} against {usual:g} before: a digit too many or too few?"
    return ""


def _lost_digit(typed: str, before: Sequence[str], usual: float) -> str:
    """Whether one digit more would make it one of the readings before."""
    if float(typed) > usual / 2.0:
        return ""
    for one in dict.fromkeys(reversed(before)):
        if len(one) == len(typed) + 1 and any(one[:i] + one[i + 1 :] == typed for i in range(len(one))):
            return f"{typed} against {one} before: a digit dropped?"
    return ""
