"""The order in which setbacks are visited: evenly spaced, then out and back, shuffled, or one way.

Order and time must not be confused with setback: a rider tires, cells creep. Out and back makes a drift bend the two
passes in opposite directions; shuffling with a stored seed breaks any link; adaptive chooses each position from the
steps before it (daq.sweep.design); one way is only for a quick look.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Literal

import numpy as np

from daq.sweep.plan import FEWEST_POSITIONS, MOST_POSITIONS, BadPlan, interleaved
from daq.words import counted

Order = Literal["out and back", "shuffled", "adaptive", "one way"]


SHAM_AT = 0.7
"""Part of the range that lies behind a sham step: behind the onset hands show neither a rise nor an expected one."""
DRAWS = 50
"""Of a shuffle with a sham step. Of 11 positions every seventh draw has no good place for it: one of 50 will do."""


def spaced(rear_mm: float, front_mm: float, apart_mm: float) -> tuple[float, ...]:
    """Setbacks from rear to front, apart_mm from one to the next. BadPlan if there are too few or too many."""
    if not rear_mm > front_mm:
        raise BadPlan(f"rear_mm: expected more than front_mm, {front_mm:g}, got {rear_mm:g}: setback is behind the BB")
    if not apart_mm > 0.0:
        raise BadPlan(f"apart_mm: expected more than 0, got {apart_mm:g}")
    count = int((rear_mm - front_mm) / apart_mm + 1e-9) + 1
    if not FEWEST_POSITIONS <= count <= MOST_POSITIONS:
        raise BadPlan(
            f"apart_mm: {apart_mm:g} mm gives {counted(count, 'position')} from {rear_mm:g} to {front_mm:g} mm; "
            f"expected {FEWEST_POSITIONS} to {MOST_POSITIONS}"
        )
    return tuple(round(rear_mm - i * apart_mm, 3) for i in range(count))


def ordered(
    positions_mm: Sequence[float], order: Order, rng: np.random.Generator, *, sham: bool = False
) -> tuple[float, ...]:
    """The positions in the requested order, with a sham step if wanted; rng is used for "shuffled" only. An adaptive
    sweep chooses as it goes: these are its range and the most it may ask for.

    A shuffle without a good place for the sham is drawn again.
    """
    if order == "adaptive":
        return interleaved(positions_mm)
    if order == "shuffled":
        draws = [tuple(rng.permutation(np.asarray(positions_mm)).tolist()) for _ in range(DRAWS if sham else 1)]
        visited = max(draws, key=lambda drawn: max(_shown_mm(drawn)))
    else:
        visited = interleaved(positions_mm) if order == "out and back" else tuple(positions_mm)
    return with_sham(visited) if sham else visited


def with_sham(positions_mm: Sequence[float]) -> tuple[float, ...]:
    """The same with one position asked for twice in a row: the saddle is loosened, moved, and put back. Any change
    there is not an effect of setback: it shows the effect of the handling itself, and of expectation. It is the first
    position where a rider who expects a rise would show it best.
    """
    shown_mm = _shown_mm(positions_mm)
    at = shown_mm.index(max(shown_mm))
    return (*positions_mm[: at + 1], *positions_mm[at:])


def _shown_mm(positions_mm: Sequence[float]) -> list[float]:
    """How far ahead of each position lies the place that a sham step there is compared with; -1 behind most onsets.

    A rider who takes the sham for one more move like the last shows the load of the place that such a move would lead
    to. So it comes well forward of the middle, after a move forward of two spacings or more, and no nearer to the front
    end than that.
    """
    rear_mm, front_mm = max(positions_mm), min(positions_mm)
    onsets_behind_mm = rear_mm - SHAM_AT * (rear_mm - front_mm)
    felt_mm = 2.0 * (rear_mm - front_mm) / (len(set(positions_mm)) - 1)
    came_mm = [0.0, *(before - here for before, here in itertools.pairwise(positions_mm))]
    return [  # to the micrometre, as positions are spaced: rounding must not make one of equals the best
        round(min(came, here - front_mm, felt_mm), 3) if here <= onsets_behind_mm else -1.0
        for came, here in zip(came_mm, positions_mm, strict=True)
    ]


def with_repeats(positions_mm: Sequence[float], *, middle: bool = True, first: bool = True) -> tuple[float, ...]:
    """The same with the middle of the range and then the first position once more at the end.

    Two positions visited twice, far apart in time, show how visits scatter and what has drifted; positions ridden once
    each show neither. No position is asked for twice in a row: that is a sham, and nothing else.
    """
    middle_mm = sorted(positions_mm)[len(positions_mm) // 2]
    asked = list(positions_mm)
    for wanted, again_mm in ((middle, middle_mm), (first, positions_mm[0])):
        if wanted and again_mm != asked[-1]:
            asked.append(again_mm)
    return tuple(asked)
