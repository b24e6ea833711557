"""What the stroke says about 'the saddle is too far back': changes over the sweep, each with its interval. These are
trends, not positions: a stroke that gets worse further back speaks for coming forward, wherever the saddle is now. No
muscle is diagnosed from any of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from daq.fit.ridden import Ridden
from daq.fit.sign import Sign, Stands
from daq.fit.stroke_watch import StepShape
from daq.measure.ripple_trend import QUANTITIES, RippleChange, level_against_gradient, over_setback, trend
from daq.values import NAN

TOP, CENTRES, ROUGH = "Push over the top, by torque", "Dead centres, by the loads", "Stroke at 4–5 %, by the loads"
LOAD = "hands and saddle"
SMALL = 0.02
"""A change per 10 mm of less than this fraction of the quantity is too small to matter. Assumption."""
APART = "hands and saddle feel both legs at once: top and bottom cannot be told apart"


def stroke_signs(level: Ridden | None, climb: Ridden | None) -> tuple[Sign, ...]:
    """Torque over the top, depth of the dead centres, roughness on a climb: all from the stroke itself."""
    return (_top(level), _centres(level), _rough(level, climb))


def _top(level: Ridden | None) -> Sign:
    shapes = _shapes(level)
    torques = [shape.torque for shape in shapes if shape.torque is not None]
    if level is None or not torques:
        return Sign(TOP, Stands.NOT_VISIBLE, "", "not visible with these sensors: none sends its torque over the turn")
    if any(torque.limits for torque in torques):
        limits = dict.fromkeys(limit for torque in torques for limit in torque.limits)
        return Sign(TOP, Stands.NOT_VISIBLE, "", "; ".join(limits))
    values = np.array([NAN if shape.torque is None else shape.torque.top[0] for shape in shapes])
    change = trend("torque near the top over the mean torque", "", *_axes(level, values))
    why = "one leg's torque within 30° of the top, over its mean"
    return _told(TOP, change, float(np.nanmean(values)), worse=-1.0, why=why)


def _centres(level: Ridden | None) -> Sign:
    shapes = _shapes(level)
    if level is None or not shapes:
        return Sign(CENTRES, Stands.NOT_VISIBLE, "", f"needs a level sweep; {APART}")
    changes, limits = over_setback(LOAD, [shape.both for shape in shapes], *_places(level))
    usual = _usual(shapes, "dead_centres")
    return _told(CENTRES, changes["dead_centres"], usual, worse=1.0, why="; ".join([APART, *_few(limits)]))


def _rough(level: Ridden | None, climb: Ridden | None) -> Sign:
    shapes = _shapes(climb)
    if climb is None or not shapes:
        return Sign(ROUGH, Stands.NOT_VISIBLE, "", f"no climb was ridden; {APART}")
    changes, limits = over_setback(LOAD, [shape.both for shape in shapes], *_places(climb))
    why = "; ".join([f"roughness; {APART}", *_few(limits)])
    sign = _told(ROUGH, changes["roughness"], _usual(shapes, "roughness"), worse=1.0, why=why)
    both = _both_ways(level, climb)
    if both is None:
        return sign
    return Sign(sign.title, sign.stands, f"on the climb {sign.number}; {both.said}", sign.why)


def _both_ways(level: Ridden | None, climb: Ridden) -> RippleChange | None:
    """Roughness from level to the climb, over the setbacks ridden both ways; None without a level sweep."""
    if level is None or not _shapes(level):
        return None
    sides = [{step.setback_mm: shape.both for step, shape in zip(one.steps, _shapes(one), strict=True)}
             for one in (level, climb)]  # fmt: skip
    common = [mm for mm in sides[0] if mm in sides[1]]
    return level_against_gradient(LOAD, [sides[0][mm] for mm in common], [sides[1][mm] for mm in common])["roughness"]


def _told(title: str, change: RippleChange, usual: float, *, worse: float, why: str) -> Sign:
    """Whether the stroke gets worse going back, gets better, or shows no significant change that would matter."""
    if not change.visible:
        return Sign(title, Stands.NOT_VISIBLE, change.said, why)
    if abs(change.value) < SMALL * abs(usual):
        return Sign(title, Stands.NOT_VISIBLE, change.said, f"too small to matter; {why}")
    if change.value * worse > 0.0:
        return Sign(title, Stands.FOR, change.said, f"gets worse as the saddle goes back; {why}")
    return Sign(title, Stands.AGAINST, change.said, f"gets no worse as the saddle goes back; {why}")


def _usual(shapes: Sequence[StepShape], quantity: str) -> float:
    """Mean of one quantity over the steps, in its unit; NaN when no step has it."""
    values = QUANTITIES[quantity][2]([shape.both for shape in shapes])
    return float(np.mean(values[np.isfinite(values)])) if np.isfinite(values).any() else NAN


def _shapes(sweep: Ridden | None) -> list[StepShape]:
    """One for each step; none when a step has none."""
    known = [] if sweep is None else [shape for shape in sweep.shapes if shape is not None]
    return known if sweep is not None and len(known) == len(sweep.steps) else []


def _places(sweep: Ridden) -> tuple[np.ndarray, np.ndarray]:
    return np.array([step.setback_mm for step in sweep.steps]), np.array([step.t_min for step in sweep.steps])


def _axes(sweep: Ridden, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    setback_mm, t_min = _places(sweep)
    return setback_mm, values, t_min


def _few(limits: Sequence[str]) -> list[str]:
    """Limits that report every ripple; single harmonics and angles are not needed here."""
    return [limit for limit in limits if "usable strokes" in limit][:1]
