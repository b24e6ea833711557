"""The columns a table of steps may have, the numbers they can hold, and contradictions among them. An answer in the
wrong unit looks like any other answer, so numbers that can only be in another unit are refused, and so is a bar further
from the saddle than any jig allows.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from daq.sweep.plan import FEWEST_POSITIONS
from daq.sweep.setting import SEAT_TUBE, TILT_DEG
from daq.sweep.validity.conditions import Way
from daq.values import NAN

NEEDED = ("setback_mm", "hand_load_n")
SET = ("u_setback_mm", "bar_x_mm", "bar_y_mm", "saddle_height_mm", "saddle_tilt_deg")
OPTIONAL = ("se_n", "t_min", "order", "crank_torque_nm", "saddle_load_n", "weight_line_mm", *SET)
DIRECTION = "direction"
KNOWN = (*NEEDED, *OPTIONAL, DIRECTION)
WAYS: dict[str, Way] = {
    "": "",
    **dict.fromkeys(("forward", "out", "coming forward"), "forward"),
    **dict.fromkeys(("back", "backward", "rearward", "going back"), "back"),
}
"""The values allowed under direction."""

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
LONGEST_SHOWN = 200


class BadTable(ValueError):
    """The table cannot be read as steps; the text says what was expected, what came, and where."""


@dataclass(frozen=True, slots=True)
class _Limit:
    """The range of a column, and what a number outside it most likely is."""

    low: float
    high: float
    unit: str
    else_likely: str


_LIMITS = {
    "setback_mm": _Limit(-200.0, 400.0, "mm behind the BB", "micrometres, or counted from another point"),
    "hand_load_n": _Limit(-50.0, 1500.0, "N", "grams, raw counts or the wrong sign"),
    "se_n": _Limit(1e-6, 200.0, "N", "an error that is not known: leave the cells empty"),
    "t_min": _Limit(-1e5, 1e5, "minutes", "another unit"),
    "order": _Limit(-1e5, 1e5, "a place in the order", "something else"),
    "crank_torque_nm": _Limit(-50.0, 150.0, "N m, the mean over a stroke", "watts"),
    "saddle_load_n": _Limit(-50.0, 2000.0, "N", "grams, raw counts or the wrong sign"),
    "weight_line_mm": _Limit(-400.0, 500.0, "mm forward of the BB", "micrometres, or counted from another point"),
    "u_setback_mm": _Limit(0.0, 20.0, "mm", "the setback itself, or micrometres"),
    "bar_x_mm": _Limit(150.0, 1000.0, "mm forward of the BB", "cm or m, or counted from the saddle"),
    "bar_y_mm": _Limit(300.0, 1200.0, "mm above the BB", "cm or m, or counted from the floor or the saddle"),
    "saddle_height_mm": _Limit(400.0, 1000.0, "mm from the BB along the seat tube", "cm or m, or inches"),
    "saddle_tilt_deg": _Limit(*TILT_DEG, "degrees, nose up positive", "per cent, or the seat tube's angle"),
}
LEAST_SPAN_MM = 12.0
FARTHEST_CM = 30.0
"""Setbacks that all lie within 12 mm and nearer than 30 mm to the BB are a sweep in centimetres (or metres)."""
HEAVIEST_KG = 25.0
"""Hand loads that never reach 25 N are in kilograms, or pounds: an arm is about 5 % of the body (Winter 2009, segment
table, from memory), so both arms of a 60 kg rider weigh 59 N, and a bar that carries less than half of that carries no
hands."""
LIGHT_N = 40.0
"""Hand loads that never reach this are possible, but kilograms are more likely."""
LONGEST_STEP_MIN = 10.0
"""From one step to the next, the usual: nobody takes longer, and 10 s are too short to move, settle and record. The
length of a table tells nothing, it may hold hundreds of steps. Judgement, no source."""
REACH_MM = (250.0, 850.0)
"""Saddle to bar along the jig, for any rider. Judgement, no source."""
DROP_MM = 350.0
"""Bar above or below the saddle, likewise."""
CENTIMETRES = (0.05, 0.11)
"""A weight line near the BB that moves by this fraction of the saddle's way is in centimetres: in millimetres it moves
by 0.86 or 0.69, and by 0.16 if the rider slides all the way (validity/hips.py, statics of a model rider). Judgement."""
BACKWARDS = -0.3
"""A weight line that moves back by more than this fraction as the saddle comes forward has the wrong sign."""


def number_of(name: str, cell: str, line: int) -> float:
    if not cell and name in OPTIONAL:
        return NAN
    value = float(cell) if NUMBER.fullmatch(cell) else NAN
    if not math.isfinite(value):
        hint = "leave the cell empty when it is not known" if name in OPTIONAL else "leave the step out"
        if NUMBER.fullmatch(cell.replace(",", ".")):
            hint = "decimals with a comma need semicolons between the columns"
        raise BadTable(f"line {line}: {name}: expected a number, got {shown([cell]) or 'nothing'}; {hint}")
    limit = _LIMITS[name]
    if not limit.low <= value <= limit.high:
        raise BadTable(
            f"line {line}: {name}: expected {limit.low:g} to {limit.high:g} {limit.unit}, got {value:g}; "
            f"it looks like {limit.else_likely}"
        )
    return value


def way_of(cell: str, line: int) -> Way:
    """Which way the saddle came. BadTable for any other word."""
    word = cell.lower()
    if word not in WAYS:
        raise BadTable(f"line {line}: {DIRECTION}: expected forward (or out) or back, got {shown([cell])}")
    return WAYS[word]


def check_units(columns: Mapping[str, Sequence[float]]) -> None:
    """BadTable if a whole column can only be in another unit, or has the wrong sign."""
    setback, hands = columns["setback_mm"], columns["hand_load_n"]
    if len(set(setback)) < FEWEST_POSITIONS:
        raise BadTable(f"expected {FEWEST_POSITIONS} or more different setbacks, got {len(set(setback))}")
    if max(setback) - min(setback) < LEAST_SPAN_MM and max(map(abs, setback)) < FARTHEST_CM:
        raise BadTable(
            f"setback_mm goes from {min(setback):g} to {max(setback):g}: that looks like cm or m; expected mm"
        )
    if max(setback) <= 0.0:
        raise BadTable(
            f"setback_mm goes from {min(setback):g} to {max(setback):g}, all in front of the BB; "
            "expected positive behind it: turn the sign"
        )
    if max(map(abs, hands)) < HEAVIEST_KG:
        raise BadTable(
            f"hand_load_n goes from {min(hands):g} to {max(hands):g}: that looks like kilograms or pounds, or "
            "like cells that read nothing; expected newtons"
        )
    minutes = sorted(t for t in columns.get("t_min", []) if not math.isnan(t))
    if len(minutes) > 1 and (usual := median(b - a for a, b in itertools.pairwise(minutes))) > LONGEST_STEP_MIN:
        raise BadTable(
            f"t_min goes from {minutes[0]:g} to {minutes[-1]:g}, {usual:g} from one step to the next: that looks like "
            "seconds; expected minutes"
        )
    _check_weight_line(setback, columns.get("weight_line_mm", []))


def check_settings(columns: Mapping[str, Sequence[float]], lines: Sequence[int]) -> None:
    """BadTable, naming the line, if the settings contradict each other."""
    unknown = [NAN] * len(lines)
    heights_mm = columns.get("saddle_height_mm", unknown)
    for i, line in enumerate(lines):
        bar_x_mm, bar_y_mm = (columns.get(name, unknown)[i] for name in ("bar_x_mm", "bar_y_mm"))
        reach_mm, (low, high) = bar_x_mm + columns["setback_mm"][i], REACH_MM
        if not math.isnan(reach_mm) and not low <= reach_mm <= high:
            raise BadTable(
                f"line {line}: bar_x_mm: {bar_x_mm:g} mm puts the bar {reach_mm:.0f} mm forward of the saddle; "
                f"expected {low:g} to {high:g}: measure from the BB to where the hands rest"
            )
        drop_mm = SEAT_TUBE * heights_mm[i] - bar_y_mm
        if not math.isnan(drop_mm) and abs(drop_mm) > DROP_MM:
            raise BadTable(
                f"line {line}: bar_y_mm: {bar_y_mm:g} mm puts the bar {abs(drop_mm):.0f} mm "
                f"{'below' if drop_mm > 0.0 else 'above'} a saddle of {heights_mm[i]:g} mm; expected within {DROP_MM:g}"
            )


def doubts_of_times(name: str, times: Sequence[float], rows: Sequence[tuple[int, list[str]]]) -> list[str]:
    """What cannot be, or is not used, of a column of times or ranks. BadTable for a visit that is there twice."""
    known = [t for t in times if not math.isnan(t)]
    if known and len(known) < len(times):
        return [f"not used: column {name}; it is empty on some lines"]
    if len(times) > 1 and len(set(known)) == 1:
        return [f"not used: column {name}; it is the same on every line"]
    first: dict[float, int] = {}
    for i, t in enumerate(known):
        if t not in first:
            first[t] = i
            continue
        (one, cells), (other, again) = rows[first[t]], rows[i]
        if cells == again:
            raise BadTable(f"line {other}: the same as line {one}, {name} too; a visit counts once: leave one out")
        return [f"{name} is {t:g} on lines {one} and {other}: whether the rider adapts slowly is not looked at"]
    return []


def check_ways(ways: Sequence[Way], setback_mm: Sequence[float], places: Sequence[float], lines: Sequence[int]) -> None:
    """BadTable if the stated direction is not the one in which the saddle went. places: time or rank in the order."""
    order = sorted(range(len(lines)), key=lambda i: places[i])
    for before, here in itertools.pairwise(order):
        moved_mm = setback_mm[here] - setback_mm[before]
        if (ways[here] == "forward" and moved_mm > 0.0) or (ways[here] == "back" and moved_mm < 0.0):
            raise BadTable(
                f"line {lines[here]}: direction: {ways[here]}, but the saddle went from {setback_mm[before]:g} to "
                f"{setback_mm[here]:g} mm behind the BB: correct the order or the direction"
            )


def _check_weight_line(setback: Sequence[float], weight_line: Sequence[float]) -> None:
    known = [(s, x) for s, x in zip(setback, weight_line, strict=False) if not math.isnan(x)]
    if len(known) < FEWEST_POSITIONS:
        return
    s, x = zip(*known, strict=True)
    slope = -float(np.polyfit(s, x, 1)[0]) if max(s) > min(s) else 0.0
    if slope < BACKWARDS:
        raise BadTable(
            f"weight_line_mm goes from {x[s.index(max(s))]:g} at the rear to {x[s.index(min(s))]:g} in front: that "
            "looks like mm behind the BB; expected positive forward of it: turn the sign"
        )
    if CENTIMETRES[0] < slope < CENTIMETRES[1] and max(map(abs, x)) < FARTHEST_CM:
        raise BadTable(
            f"weight_line_mm goes from {x[s.index(max(s))]:g} at the rear to {x[s.index(min(s))]:g} in front: that "
            "looks like cm; expected mm"
        )


def shown(names: Sequence[str]) -> str:
    """Header names in printable form: any file may have been given as a table."""
    text = ", ".join(names)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "..."
