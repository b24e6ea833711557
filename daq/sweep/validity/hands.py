"""Whether the hands stayed where they were: between steps, within one, and left against right."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.student import quantile
from daq.sweep.hands import JUMP_FLOOR_N, NOW_STROKES
from daq.sweep.validity.effects import SIZE, Effect, effects_of
from daq.sweep.validity.saying import Number, failed, not_made, passed, places_said
from daq.sweep.validity.seen import Seen
from daq.values import MAD_TO_SD, Array, StepMean, Validity

LEAST_SHIFT_N = 6.0
"""From hoods to drops is 15 N and more; a smaller shift that stays is not looked at. Judgement, no source."""
LEAST_APART_N = 0.5
"""Left against right is not known better than this from step to step, however still they look."""
MOST_ALONE = 0.75
"""Of the hand load, on one of two hands that both rest on the bar. Common practice, no source."""
SWAPPED = (
    "check that no plugs of cells are swapped, that each cell is mounted freely, and that both hands rest on the bar"
)
ALONE = 2
"""Steps that a shift must last for, from either end: one odd step is the estimator's own business."""
HANDS_OR_CELL = (
    "mark where the hands rest and keep them there, check the hands' cells with a known weight, and ride the sweep "
    "again"
)
"""Hands that let go and a cell that lost gain change the load alike; one of two cells changes the split as well."""


def hands(sweep: Seen) -> Validity:
    """A level that shifts from one step on and stays; jumps within steps."""
    inside = jumped_mm(sweep.steps)
    found = _largest_shift(sweep)
    numbers = Number() if found is None else Number(found[1].value, "N", found[1].interval_95)
    if found is not None and found[1].beyond(LEAST_SHIFT_N, sweep.size / _shifts(sweep)):
        at, shift = found
        return failed(
            "hands",
            f"from step {at + 1} on, at {sweep.setback_mm[at]:g} mm, hand load is {shift.value:+z.0f} N against before:"
            " the hands, or how the rider sits, have shifted, or a cell under the hands lost gain",
            HANDS_OR_CELL,
            numbers,
            forbids=shift.beyond(LEAST_SHIFT_N, SIZE / _shifts(sweep)),
        )
    if inside:
        return failed(
            "hands",
            f"hand load jumped in the middle of the step at {places_said(inside)} mm: the hands have moved",
            "mark where the hands rest, keep them there",
            numbers,
            forbids=len(inside) > 1,
            ride_mm=inside,
        )
    if found is None and not any(step.strokes for step in sweep.steps):
        return not_made("hands", "hands not watched: neither order nor strokes are known")
    return passed("hands", "hand load shows no shift of the hands", numbers)


def jumped_mm(steps: Sequence[StepMean]) -> list[float]:
    """Setbacks of the steps in which hand load jumped: its median over some strokes against that of the strokes just
    before, beyond what the sway of the whole sweep makes of it."""
    apart = [_neighbours_apart_n(step) for step in steps]
    all_n = np.abs(np.concatenate(apart)) if apart else np.empty(0)
    if not len(all_n):
        return []
    limit_n = quantile(1.0 - 0.5 * SIZE / len(all_n), math.inf) * MAD_TO_SD * float(np.median(all_n))
    limit_n = max(limit_n, JUMP_FLOOR_N)
    return [step.setback_mm for step, n in zip(steps, apart, strict=True) if len(n) and np.abs(n).max() > limit_n]


def _neighbours_apart_n(step: StepMean) -> Array:
    """Median hand load of NOW_STROKES strokes less that of as many before, at every stroke that has both."""
    hands_n = np.array([stroke.hands_n for stroke in step.strokes])
    if len(hands_n) < 2 * NOW_STROKES:
        return np.empty(0)
    windows = np.arange(len(hands_n) - NOW_STROKES + 1)[:, None] + np.arange(NOW_STROKES)
    inner = np.sort(hands_n[windows], axis=1)
    medians = 0.5 * (inner[:, (NOW_STROKES - 1) // 2] + inner[:, NOW_STROKES // 2])
    return np.asarray(medians[NOW_STROKES:] - medians[:-NOW_STROKES])


def _shifts(sweep: Seen) -> int:
    return max(len(sweep.steps) - 2 * ALONE + 1, 1)


def _largest_shift(sweep: Seen) -> tuple[int, Effect] | None:
    """The step from which on hand load has shifted most, against its error; None where the order is not known."""
    if not sweep.timed:
        return None
    shifts = effects_of(sweep.levels, sweep.curve, from_on(len(sweep.steps), starts(sweep)))
    found = [(at, effect) for at, effect in zip(starts(sweep), shifts, strict=True) if effect is not None]
    return max(found, key=lambda one: abs(one[1].value) / one[1].se, default=None)


def starts(sweep: Seen) -> range:
    """The steps from which on a shift may last long enough to be looked at."""
    return range(ALONE, len(sweep.steps) - ALONE + 1)


def from_on(n: int, begins: range) -> Array:
    """(n, k): 1 from each start on."""
    return (np.arange(n)[:, None] >= np.array(begins)).astype(float)


def _uneven(sweep: Seen, apart_n: Array) -> tuple[int, Effect] | None:
    """The step from which on the hands differ otherwise. Neither torque nor a bend has anything to do with left against
    right, so only a level, a slope over setback and the shift are fitted."""
    n, freedom = len(apart_n), len(apart_n) - 3
    if freedom < 1 or not len(starts(sweep)):
        return None
    columns = from_on(n, starts(sweep)).T
    rest = np.column_stack([np.ones(n), sweep.setback_mm - sweep.setback_mm.mean()])
    designs = np.concatenate([np.broadcast_to(rest, (len(columns), n, 2)), columns[:, :, None]], axis=2)
    inverses = np.linalg.pinv(np.swapaxes(designs, 1, 2) @ designs, hermitian=True)
    fitted = (inverses @ np.swapaxes(designs, 1, 2)) @ apart_n
    left = apart_n - np.einsum("snc,sc->sn", designs, fitted)
    spread = np.maximum(np.sum(left**2, axis=1) / freedom, LEAST_APART_N**2)
    se = np.sqrt(spread * inverses[:, 2, 2])
    worst = int(np.argmax(np.abs(fitted[:, 2]) / se))
    return starts(sweep)[worst], Effect(float(fitted[worst, 2]), float(se[worst]), freedom)


def left_right(sweep: Seen) -> Validity:
    """Left hand less right hand, whether it shifts from one step on."""
    name, cells = "left and right hand", sweep.conditions.hand_cells
    if len(cells) != 2 or not sweep.timed or not all(step.strokes for step in sweep.steps):
        return not_made(name, "left and right hand not compared: it needs one cell for each", "")
    first, second = cells
    apart_n = sweep.cells_n[:, first] - sweep.cells_n[:, second]
    if said := _alone(apart_n, sweep.levels.hands_n):
        return failed(name, said, SWAPPED, Number(float(apart_n.mean()), "N"))
    found = _uneven(sweep, apart_n)
    if found is None:
        return not_made(name, "left and right hand not compared: too few steps", "ride more positions")
    at, shift = found
    numbers = Number(shift.value, "N", shift.interval_95)
    if not shift.beyond(LEAST_SHIFT_N, sweep.size / _shifts(sweep)):
        return passed(name, "the load stayed as it was between left and right hand", numbers)
    return failed(
        name,
        f"from step {at + 1} on, at {sweep.setback_mm[at]:g} mm, the split between the hands changed by "
        f"{shift.value:+z.0f} N: the hands moved to one side, or a hand's cell lost gain",
        HANDS_OR_CELL,
        numbers,
        forbids=shift.beyond(LEAST_SHIFT_N, SIZE / _shifts(sweep)),
    )


def _alone(apart_n: Array, hands_n: Array) -> str:
    """A sentence where one hand would carry next to everything; empty where both carry."""
    share = 0.5 + 0.5 * abs(float(apart_n.mean())) / max(float(hands_n.mean()), 1e-9)
    if share <= MOST_ALONE:
        return ""
    return f"one hand would carry {100 * share:.0f} % of the hand load: its cell shows something else"
