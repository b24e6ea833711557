"""What a person who reads a scale gets wrong, named at once: another unit, a digit lost, a reading copied.

A reading is compared with those of the same scale in the same sweep, the first few with what riders load at all.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from daq.physics import NEWTONS
from daq.values import NAN

FEWEST = 3
"""The number of readings needed before one can be judged by the others."""
NAMES = {"N": "newtons", "kg": "kilograms", "lb": "pounds"}
POINT = 10.0
"""A decimal point left out of a display of tenths."""
MORE, LESS = 1.35, 1.15
"""Hand load may exceed or fall below earlier readings by at most this factor: it rises as the saddle comes forward, and
behind the onset it stays as it is. With saddle load it is the other way round. Assumption."""
FAR = 3.0
"""Beyond this ratio to the usual reading something is wrong even when no factor fits."""
HANDS_N, SADDLE_N = (20.0, 400.0), (100.0, 1200.0)
"""What a riding person loads them with, at the least and at the most. Assumption, wide."""
CHANCE = 1.0 / 400.0
"""Below this probability, repeated readings are not chance: a sweep has some fifty readings."""


@dataclass(frozen=True, slots=True)
class TypedReadings:
    """What was read off one scale in this sweep, as its display shows it."""

    unit: str
    before: Sequence[str]
    """All of the sweep so far."""
    step: Sequence[str]
    """Those of this step."""
    step_before: Sequence[str]
    loads_forward: bool = True
    """Whether it shows more as the saddle comes forward: at the hands."""
    newtons_per_unit: float = NAN
    """At the contact; NaN: a first reading cannot be judged."""


def blunder(typed: str, so_far: TypedReadings) -> str:
    """What seems wrong with this reading, in one sentence; empty if nothing does."""
    before = so_far.before
    if copied := _copied(typed, so_far):
        return f"{' and '.join(copied)} are the readings of the step before, in the same order: copied?"
    if len(before) < FEWEST:
        return _implausible(typed, so_far)
    values = [float(one) for one in before]
    usual, value = statistics.median(values), float(typed)
    if not min(values) > 0.0:
        return ""
    less, more = (LESS, MORE) if so_far.loads_forward else (MORE, LESS)
    low, high = min(values) / less, max(values) * more
    if low <= value <= high:
        return ""
    if lost := _lost_digit(typed, before, usual):
        return lost
    for factor, slip in _slips(so_far.unit):
        if low <= value / factor <= high:
            return f"{typed} against {usual:g} before: {slip}?"
    if not usual / FAR <= value <= usual * FAR:
        return f"{typed} against {usual:g} before: a digit too many or too few?"
    return ""


def _implausible(typed: str, so_far: TypedReadings) -> str:
    """Whether the load is impossible, and the unit that would make it possible."""
    at, (least_n, most_n) = ("hands", HANDS_N) if so_far.loads_forward else ("saddle", SADDLE_N)
    load_n = float(typed) * so_far.newtons_per_unit
    if math.isnan(load_n) or least_n <= load_n <= most_n:
        return ""
    said = f"{typed} is {load_n:.0f} N at the {at}, expected {least_n:g} to {most_n:g}"
    for factor, slip in _slips(so_far.unit):
        if least_n <= load_n / factor <= most_n:
            return f"{said}: {slip}?"
    return f"{said}: a digit too many or too few?"


def _slips(unit: str) -> list[tuple[float, str]]:
    """How many times too large a reading comes out, and what was done then."""
    found = []
    for other, newtons in NEWTONS.items():
        factor = NEWTONS[unit] / newtons
        point = ", or a decimal point left out" if abs(factor / POINT - 1.0) < 0.05 else ""
        found += [(factor, f"{NAMES[other]} typed for {NAMES[unit]}{point}")] if other != unit else []
    return [*found, (POINT, "a decimal point left out")]


def _copied(typed: str, so_far: TypedReadings) -> list[str]:
    """The readings of this step when they repeat those of the step before; none where a display so coarse shows the
    same by chance."""
    now = [*so_far.step, typed]
    if now != list(so_far.step_before)[: len(now)] or _same_by_chance(so_far.before) ** len(now) >= CHANCE:
        return []
    return now


def _same_by_chance(readings: Sequence[str]) -> float:
    """Share of equal pairs, plus half a pair."""
    pairs = list(itertools.combinations(readings, 2))
    return (sum(a == b for a, b in pairs) + 0.5) / (len(pairs) + 1.0)


def _lost_digit(typed: str, before: Sequence[str], usual: float) -> str:
    """Whether one digit more would make it one of the readings before."""
    if float(typed) > usual / 2.0:
        return ""
    for one in dict.fromkeys(reversed(before)):
        if len(one) == len(typed) + 1 and any(one[:i] + one[i + 1 :] == typed for i in range(len(one))):
            return f"{typed} against {one} before: a digit dropped?"
    return ""
