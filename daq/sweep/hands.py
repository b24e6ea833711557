"""Whether the hands have moved in the middle of a step: one step in the drops looks like an onset. A jump is reported,
never acted on: the fitter checks, and redoes the step if they did.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from daq.values import MAD_TO_SD, Stroke

NOW_STROKES = 5
"""The median of this many last strokes is compared with those before; a cough is shorter."""
FEWEST_BEFORE = 10
JUMP_SPREADS = 4.0
JUMP_FLOOR_N = 15.0
"""Sway of 3-8 N alone produces smaller jumps; a move from hoods to drops should be larger. Assumption."""


def jump_n(strokes: Sequence[Stroke]) -> float | None:
    """By how much the hand load of the last strokes differs from the earlier ones in the same step; None if it does
    not, or there are too few strokes to tell."""
    if len(strokes) < FEWEST_BEFORE + NOW_STROKES:
        return None
    hands_n = [stroke.hands_n for stroke in strokes]
    before, now = hands_n[:-NOW_STROKES], hands_n[-NOW_STROKES:]
    usual = median(before)
    departs = median(now) - usual
    if abs(departs) <= JUMP_FLOOR_N:
        return None
    spread = MAD_TO_SD * median(abs(each - usual) for each in before)
    return departs if abs(departs) > JUMP_SPREADS * spread else None
