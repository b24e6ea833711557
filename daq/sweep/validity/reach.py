"""Whether the bar went with the saddle as the protocol says, both kept their heights, and the saddle its tilt: from
what was really set at every position."""

from __future__ import annotations

import math

import numpy as np

from daq.sweep.setting import SEAT_TUBE, TILT_CHANGE_DEG
from daq.sweep.validity.saying import Number, failed, not_made, passed
from daq.sweep.validity.seen import Seen
from daq.values import Array, Validity

KINK_MM = 5.0
"""A bar, or a saddle in height, this far off the straight line over setback bends the hand load by itself. Judgement,
no source."""
TIPPED_DEG = 1.0
"""A tilt of the saddle that differs by more takes the verdict: 1 degree turns 7 of 400 N on the saddle along it, which
the hands may have to hold, as much as KINK_MM at 1.4 N/mm. Readings that scatter by 0.2 degrees stay within it.
Judgement, no source."""
DRIFTED = 0.2
"""Millimetres of reach, or of drop, for each millimetre of setback that may differ from what the plan says.
Judgement, no source."""
STAYED_TAKES = 0.5
"""Share of a rise that a bar which stayed takes, at most or nearly so: the lighter the hands, the more. Of 1000
simulated riders of 52 to 100 kg with 8 to 16 % of their weight on the hands, half lose more than 0.19, and 95 in 100
from -0.08 to 0.53."""
PROTOCOLS = {"reach kept": 0.0, "bar fixed": 1.0}


def reach(sweep: Seen) -> Validity:
    """Saddle to bar along the jig, and the heights of both, over setback."""
    settings = [step.setting for step in sweep.steps]
    saddle_mm = SEAT_TUBE * np.array([setting.saddle_height_mm for setting in settings])
    bar_mm = np.array([setting.bar_y_mm for setting in settings])
    reach_mm = sweep.setback_mm + np.array([setting.bar_x_mm for setting in settings])
    known = {"reach": reach_mm, "bar's height": bar_mm, "saddle's height": saddle_mm}
    off_mm = {what: _line(sweep.setback_mm, mm)[1] for what, mm in known.items() if np.isfinite(mm).all()}
    which = max(off_mm, key=lambda what: off_mm[what], default="")
    if which and off_mm[which] > KINK_MM:
        return _kinked(sweep, which, known[which])
    drop_mm, planned = saddle_mm - bar_mm, sweep.conditions.protocol
    drops = _drop_unlike(sweep, drop_mm, bar_mm)
    if "reach" not in off_mm and not drops:
        return _not_confirmed(sweep)
    number = Number(off_mm[which], "mm")
    said = f"coming forward {_changes(sweep, reach_mm, drop_mm)}, evenly"
    wanted = PROTOCOLS.get(planned)
    reaches = wanted is not None and "reach" in off_mm and abs(_slope(sweep, reach_mm) - wanted) > DRIFTED
    if drops:
        changed_mm = abs(_slope(sweep, drop_mm)) * float(np.ptp(sweep.setback_mm))
        return _drop_changed(sweep, said, Number(changed_mm, "mm"), reach_too=reaches)
    if reaches:
        return failed(
            "reach",
            f"{said}, which is not '{planned}'",
            "take the answer for the reach as it was set, or ride the sweep again as planned",
            number,
            forbids=False,
        )
    if sweep.conditions.drop == "bar height kept" and np.isfinite(drop_mm).all():
        said += "; the drop as planned, with the bar's height kept"
    return passed("reach", said, number)


def _kinked(sweep: Seen, which: str, mm: Array) -> Validity:
    """Named is the position furthest from the line through the others: one that is far off takes a line through all
    along, which shows less of it and some at the others."""
    i, off_mm = _furthest(sweep.setback_mm, mm)
    others = np.arange(len(mm)) != i
    alone = _line(sweep.setback_mm[others], mm[others])[1] <= KINK_MM
    at = f"{sweep.setback_mm[i]:g} mm"
    return failed(
        "reach",
        f"the {which} did not change evenly with the setback: at {at}{'' if alone else ', the worst,'} it was "
        f"{off_mm:.0f} mm off a straight line through the others, which bends the hand load by itself",
        f"set saddle and bar right at {at if alone else 'every position'} and ride {'it' if alone else 'these'} again",
        Number(off_mm, "mm"),
    )


def saddle_tilt(sweep: Seen) -> Validity:
    """The saddle's tilt as it was entered at the positions; it is to stay."""
    name = "saddle tilt"
    read = [step for step in sweep.steps if math.isfinite(step.setting.saddle_tilt_deg)]
    if len(read) < 2:
        return not_made(name, "saddle tilt not read: a saddle that tips would not be known", "read it at each position")
    tilts_deg = [step.setting.saddle_tilt_deg for step in read]
    spread_deg = round(max(tilts_deg) - min(tilts_deg), 3)
    numbers = Number(spread_deg, "deg")
    if spread_deg <= TILT_CHANGE_DEG:
        return passed(name, f"the saddle's tilt stayed within {spread_deg:.1f} degrees, as entered", numbers)
    usual_deg = min(tilts_deg, key=lambda here_deg: sum(_tips(one, here_deg) for one in tilts_deg))
    at_mm = dict.fromkeys(step.setback_mm for step in read if _tips(step.setting.saddle_tilt_deg, usual_deg))
    return failed(
        name,
        f"the saddle's tilt went from {min(tilts_deg):+z.1f} to {max(tilts_deg):+z.1f} degrees: more than "
        f"{TILT_CHANGE_DEG:g} between positions moves load to or from the hands by itself",
        f"set it to {usual_deg:+z.1f} degrees, tighten it",
        numbers,
        forbids=spread_deg > TIPPED_DEG,
        ride_mm=tuple(at_mm),
    )


def _tips(one_deg: float, other_deg: float) -> bool:
    return abs(one_deg - other_deg) > 0.5 * TILT_CHANGE_DEG


def _drop_unlike(sweep: Seen, drop_mm: Array, bar_mm: Array) -> bool:
    """Whether the drop changes evenly otherwise than the plan has it. With the bar's height kept it follows the saddle,
    and so only the bar's own height may not change; where no plan is known, either may be meant."""
    if not np.isfinite(drop_mm).all():
        return False
    drop, bar = (abs(_slope(sweep, mm)) for mm in (drop_mm, bar_mm))
    off = {"drop kept": drop, "bar height kept": bar}.get(sweep.conditions.drop, min(drop, bar))
    return off > DRIFTED


def _drop_changed(sweep: Seen, said: str, changed: Number, *, reach_too: bool) -> Validity:
    policies = [f"'{one}'" for one in (sweep.conditions.protocol if reach_too else "", sweep.conditions.drop) if one]
    unlike = f", which is {'neither' if len(policies) > 1 else 'not'} {' nor '.join(policies)}" if policies else ""
    as_set = "the reach and the drop as they were set" if reach_too else "the drop as it was set"
    again = "as planned" if policies else "with the bar as high against the saddle at every position"
    return failed(
        "reach",
        f"{said}{unlike}: a drop that changes moves hand load by itself",
        f"take the answer for {as_set}, or ride the sweep again {again}",
        changed,
        forbids=False,
    )


def _changes(sweep: Seen, reach_mm: Array, drop_mm: Array) -> str:
    """From the rearmost position to the foremost, by the straight line."""
    known = {what: mm for what, mm in (("reach", reach_mm), ("the drop", drop_mm)) if np.isfinite(mm).all()}
    span_mm = float(np.ptp(sweep.setback_mm))
    by_mm = {what: f"by {round(-_slope(sweep, mm) * span_mm):+d} mm" for what, mm in known.items()}
    first, *others = by_mm
    return " and ".join([f"{first} changed {by_mm[first]}", *(f"{what} {by_mm[what]}" for what in others)])


def _slope(sweep: Seen, mm: Array) -> float:
    return _line(sweep.setback_mm, mm)[0]


def _not_confirmed(sweep: Seen) -> Validity:
    """Nobody said where the bar stood. One that stayed is told where there is no verdict: it flattens a rise, and the
    weight line hardly shows it."""
    kept = sweep.conditions.protocol == "reach kept" and not sweep.conditions.dummy
    if kept and sweep.suspects and sweep.rise_suspected:
        return failed(
            "reach",
            "reach not confirmed: had the bar stayed while the saddle moved, hand load would rise less, by up to about "
            f"{100 * STAYED_TAKES:.0f} %",
            "see that the bar goes along with the saddle, and confirm it at each position",
            forbids=False,
        )
    if not sweep.conditions.protocol:
        return not_made("reach", "reach not confirmed: where the bar stood is not stated", "give bar_x_mm and bar_y_mm")
    means = "reach not confirmed: where the bar stood is taken from the plan"
    return not_made("reach", means, "confirm the bar at each position")


def _furthest(x: Array, y: Array) -> tuple[int, float]:
    """Which point is furthest off the straight line through the others, and how far. A point without which there is
    but one x has no such line."""
    found = []
    for i in range(len(x)):
        others = np.arange(len(x)) != i
        if np.ptp(x[others]) > 0.0:
            _, level = np.polyfit(x[others] - x[i], y[others], 1)
            found.append((abs(float(y[i] - level)), i))
    off, i = max(found)
    return i, off


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope of the straight line, and how far the worst point is off it."""
    slope, level = np.polyfit(x - x.mean(), y, 1)
    return float(slope), float(np.abs(y - level - slope * (x - x.mean())).max())
