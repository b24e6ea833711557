"""Whether the hips kept their place on the saddle, from the pressure centre on its nose and rear cells.

The rider's weight line X moves straight with the saddle while the hips go with it: 0.86 mm for each millimetre with the
reach kept, 0.69 with the bar fixed (statics of a model rider). Hips that stay in space while the saddle moves under
them move it by 0.16, whatever the hands read: that looks like an onset where they begin to go along. One saddle cell
alone moves with the saddle and cannot tell. A force of the hands along the jig moves every X alike and no slope, as
long as it stays the same; what was taken of it is said beside the slope.
"""

from __future__ import annotations

import math

import numpy as np

from daq.student import quantile
from daq.sweep.validity.effects import Effect
from daq.sweep.validity.effort import MAY_MISS
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Array, Validity
from daq.words import listed

EXPECTED = {"reach kept": 0.86, "bar fixed": 0.69}
EITHER = 0.775
"""Expected where nobody said which of the two: half way."""
LEAST_POSSIBLE, MOST_POSSIBLE = -0.5, 1.6
"""A rider who moves on the saddle as far as the saddle moves adds or takes 0.7. Beyond it the cells are wrong."""
STAYED = 0.16
"""The slope of hips that stay in space. Where one of the three slopes may be as small, they may have stayed."""
U_EXPECTED = 0.05
"""Standard uncertainty of the slope expected: riders differ from the model rider. Judgement, no source."""
LEAST_OFF = 0.20
"""A slope nearer to the one expected than this is no sliding: half-sliding is off by 0.35."""
SIZE = 0.005
"""Three slopes are looked at, so that one of them is off by chance in 1.5 % of sweeps."""
LEVER_M, WEIGHT_N = 0.75, 735.0
"""Hands before saddle, and weight where it is not known: with them an error of hand load moves the weight line."""
PRIOR_FREEDOM = 5.0
"""How many residuals that is worth beside the scatter of the weight line itself. Judgement."""
FEWEST_STEPS, FEWEST_PLACES = 5, 3
KEEP_SEAT = "mark where the rider sits, keep the seat bones there at every position"
OF_ANOTHER = "a cell shows another one's load"
PLUGS = "check that no plugs of the cells are swapped"
"""A hand's plug swapped with a saddle cell's makes the weight line move too far, as a rider does who comes forward on
the saddle with it: both are named."""
WATCHED = "mark where the rider sits and watch that the seat bones stay there"


def hips(sweep: Seen) -> Validity:
    """Slope of the weight line over all positions, behind the bend and forward of it. Known at some of them only, it
    can show hips that moved there, and not that they stayed at the others."""
    x_mm = np.array([step.weight_line_mm for step in sweep.steps])
    known = np.isfinite(x_mm)
    if sweep.conditions.dummy:
        return not_made("hips", "hips not measured: a dummy rides, which has none")
    if known.sum() < FEWEST_STEPS or len(set(sweep.setback_mm[known])) < FEWEST_PLACES:
        why, cure = _missing(sweep)
        return not_made("hips", f"hips not measured: {why}", cure)
    forward_mm, bend_mm = -sweep.setback_mm[known], -sweep.bend_mm
    slopes = _slopes(forward_mm, x_mm[known], bend_mm, _error_mm(sweep))
    expected = EXPECTED.get(sweep.conditions.protocol, EITHER)
    off = {where: _beyond(slope, expected, sweep.size) for where, slope in slopes.items()}
    where = max(off, key=lambda one: off[one])
    found = slopes[where]
    numbers = Number(found.value, "mm/mm", found.interval_95)
    moved = f"the weight line moved by {found.value:.2f} mm for each mm of saddle {where}{_pressure(sweep)}"
    said = f"{moved}, expected {expected:.2f}"
    if off[where] <= 0.0:
        if (~known).sum() > MAY_MISS:
            return not_made("hips", *_known_in_part(sweep, x_mm))
        if vague := _may_have_stayed(slopes, expected):
            return not_made("hips", f"{vague}{_rests_on(sweep)}", WATCHED)
        return passed("hips", f"the hips kept their place on the saddle: {said}{_rests_on(sweep)}", numbers)
    if not LEAST_POSSIBLE < found.value < MOST_POSSIBLE:
        return failed(
            "hips",
            f"{said}: no rider moves like that; {OF_ANOTHER}{_rests_on(sweep)}",
            f"{PLUGS}, and hang a weight on each cell",
            numbers,
        )
    behind = found.value < expected
    did = "stayed behind as the saddle came forward" if behind else f"moved forward on the saddle, or {OF_ANOTHER}"
    return failed(
        "hips",
        f"the hips {did}: {said}; a change of seat looks like an onset{_rests_on(sweep)}",
        f"{KEEP_SEAT}, and ride the sweep again" if behind else f"{KEEP_SEAT}, {PLUGS}, and ride the sweep again",
        numbers,
        forbids=_beyond(found, expected) > 0.0,
    )


def _error_mm(sweep: Seen) -> float:
    """Standard error of one step's weight line as far as hand load tells it; NaN where that is not known."""
    se_n, conditions = sweep.levels.se_n, sweep.conditions
    weight_n = WEIGHT_N if conditions.mass_kg is None else conditions.mass_kg * conditions.g_m_s2
    return math.nan if se_n is None else 1000.0 * LEVER_M / weight_n * float(np.sqrt(np.mean(se_n**2)))


def _slopes(forward_mm: Array, x_mm: Array, bend_mm: float, error_mm: float) -> dict[str, Effect]:
    """Slopes of X over forward travel; of the two parts only where each has enough places."""
    centred = forward_mm - forward_mm.mean()
    found = {"over all positions": _fitted(np.column_stack([np.ones_like(centred), centred]), x_mm, 1, error_mm)}
    if min(len(set(forward_mm[side])) for side in (forward_mm < bend_mm, forward_mm > bend_mm)) < FEWEST_PLACES:
        bend_mm = float(np.median(np.unique(forward_mm)))
    behind = np.minimum(forward_mm - bend_mm, 0.0)
    ahead = np.maximum(forward_mm - bend_mm, 0.0)
    design = np.column_stack([np.ones_like(centred), behind, ahead])
    return found | {
        "behind the bend": _fitted(design, x_mm, 1, error_mm),
        "forward of the bend": _fitted(design, x_mm, 2, error_mm),
    }


def _fitted(design: Array, x_mm: Array, column: int, error_mm: float) -> Effect:
    freedom = len(x_mm) - design.shape[1]
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ x_mm
    left = x_mm - design @ found
    squares, worth = float(left @ left), float(freedom)
    if not math.isnan(error_mm):
        squares, worth = squares + PRIOR_FREEDOM * error_mm**2, worth + PRIOR_FREEDOM
    return Effect(float(found[column]), math.sqrt(squares / worth * inverse[column, column]), worth)


def _beyond(slope: Effect, expected: float, size: float = SIZE) -> float:
    """How far the slope is off beyond what may be; 0 or less: it may be."""
    allowed = quantile(1.0 - 0.5 * size, slope.freedom) * math.hypot(slope.se, U_EXPECTED)
    return abs(slope.value - expected) - max(LEAST_OFF, allowed)


def _may_have_stayed(slopes: dict[str, Effect], expected: float) -> str:
    """A sentence where a slope is known so poorly that it may be that of hips that stayed in space."""
    where = min(slopes, key=lambda one: slopes[one].interval_95[0])
    low, high = slopes[where].interval_95
    if low > STAYED:
        return ""
    return (
        f"hips not measured well enough: {where} the weight line moved by {low:.2f} to {high:.2f} mm for each mm of "
        f"saddle, expected {expected:.2f}, and {STAYED:g} of hips that stay behind"
    )


def _missing(sweep: Seen) -> tuple[str, str]:
    """What the weight line lacks, and what would give it."""
    cells = len(sweep.conditions.saddle_cells)
    if not cells:
        return "no cell under the saddle is known", f"{WATCHED}, or ride on a saddle with nose and rear cells"
    if cells < 2:
        why = "one saddle cell moves with the saddle and cannot tell where on it the rider sits"
        return why, f"{WATCHED}, or ride on a saddle with nose and rear cells"
    if sweep.conditions.mass_kg is None:
        return "the weight line needs the rider's mass", "enter the rider's mass"
    if not np.isfinite(sweep.torque_nm).all():
        return "the weight line needs the crank torque at every position", "link a power sensor"
    return "the weight line is known at too few positions", "see that cells, bar and cranks are in the rig file"


def _known_in_part(sweep: Seen, x_mm: Array) -> tuple[str, str]:
    """The weight line follows from the crank torque, so a step that lacks this lacks that too."""
    known = np.isfinite(x_mm)
    at_mm = listed([f"{mm:g}" for mm in dict.fromkeys(sweep.setback_mm[~known].tolist())])
    without_torque = bool(np.isfinite(sweep.torque_nm[known]).all()) and bool(np.isnan(sweep.torque_nm[~known]).all())
    cure = "link a power sensor" if without_torque else f"{WATCHED}, and give the weight line there too"
    return f"hips not measured: the weight line is not known at {at_mm} mm, and there they may have moved", cure


def _rests_on(sweep: Seen) -> str:
    """What the weight line assumes, as the end of a sentence."""
    return f"; {sweep.conditions.hands_along}" if sweep.conditions.hands_along else ""


def _pressure(sweep: Seen) -> str:
    """How the pressure centre on the saddle moved, as a part of a sentence; empty where its cells are not known."""
    cells = sweep.conditions.saddle_cells
    if len(cells) < 2 or not all(step.strokes for step in sweep.steps):
        return ""
    columns, x_mm = zip(*cells, strict=True)
    loads_n = sweep.cells_n[:, columns]
    behind_mm = -(loads_n @ np.array(x_mm)) / loads_n.sum(axis=1)
    low, high = float(behind_mm.min()), float(behind_mm.max())
    return f" (its pressure centre lay {low:.0f} to {high:.0f} mm behind the saddle's reference)"
