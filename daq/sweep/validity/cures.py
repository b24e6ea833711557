"""What to do about a sweep without an onset, the first thing first: the one place where that order is decided. Run,
Decide, sheet, terminal and JSON read it.

A fault of the jig comes first: with it every other number is in doubt. Then what was seen on a measure of its own: no
torque, one way only, hips or a hand that moved, a bar that did not go along. Then what the hand loads suggest, in the
order in which it explains them (`explained.py`), and between these, at a fixed place, what is so whether the loads show
it or not: a rider who knew the setback, a rise that stands on single visits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from daq.sweep.next_ride import in_words, with_these
from daq.sweep.validity.explained import NEVER, Explained
from daq.sweep.validity.repeats import UNKNOWING
from daq.sweep.validity.saying import again_said, places_said
from daq.sweep.validity.slow import SETTLE
from daq.values import NextRide, Result, Validity

OF_THE_JIG = ("computation", "calibration", "cells", "feet", "tilt")
"""When one of these fails, the numbers themselves are in doubt: neither the eye nor more riding mends that."""
MEASURED = ("torque", "direction", "hips", "left and right hand", "reach", "saddle tilt")
"""Seen by themselves, not in the levels of hand load, when they forbid."""
ALWAYS = ("visits", "sham", "reach", "hips")
"""What is so whether the loads show it or not, the first to be cured first."""
ALWAYS_SO = 0.5
"""What explains the loads better than this, as natural log, comes before what is always so. At 1 a lag of 20 s and soon
tiring come too late, at 0 saddles that were placed badly (30 sweeps a line, simulated)."""
AMONG = "these are among the positions to ride again"
_AHEAD = 0.1


def ordered(found: Sequence[Validity], of: Explained, eyed: Sequence[Validity] = ()) -> list[Validity]:
    """What failed or forbids, the first to be cured first. of: the same sweep's. eyed: what no sensor saw, so that the
    eye has to."""
    return sorted((*(one for one in found if _open(one)), *eyed), key=lambda one: _place(one, of))


def _open(one: Validity) -> bool:
    return one.forbids or one.result is Result.FAILED


def _place(one: Validity, of: Explained) -> tuple[int, float]:
    if one.test in OF_THE_JIG:
        return 0, 0.0
    if one.test in MEASURED and one.forbids:
        return 1, 0.0
    return 2, -_weight(one, of)


def _weight(one: Validity, of: Explained) -> float:
    explains = {
        "hands": of.shifted,
        "left and right hand": of.shifted,
        "passes": of.slow if one.cure == SETTLE else max(of.slow, of.sat_otherwise),
        "lag": of.slow,
        "drift": of.slow,
        "fatigue": of.tired,
        "first position again": of.tired,
        "visits": NEVER if one.ride_mm else of.scattered,
    }.get(one.test, NEVER)
    if one.forbids:
        return max(explains, ALWAYS_SO + 2.0 * _AHEAD)
    if one.test == "hips" and one.result is Result.FAILED:
        return ALWAYS_SO + 2.0 * _AHEAD
    if one.test in ALWAYS:
        return max(explains, ALWAYS_SO + _AHEAD * (1.0 - ALWAYS.index(one.test) / len(ALWAYS)))
    return explains


def comes_first(found: Sequence[Validity], of: Explained) -> bool:
    """Whether something has to be cured before more positions can tell: it took the verdict, it is wrong with the jig,
    the rider knew what to expect, or it explains the loads."""
    return any(
        one.forbids
        or one.test in (*OF_THE_JIG, "sham")
        or (one.test == "visits" and not one.ride_mm)
        or (one.test not in ALWAYS and not one.ride_mm and _weight(one, of) > ALWAYS_SO)
        for one in found
        if _open(one)
    )


def in_one_sweep(found: Sequence[Validity]) -> tuple[Validity, ...]:
    """The same where the sweep is ridden again anyway: what asked for single positions joins in that."""
    knew = any(one.test == "sham" and one.result is Result.FAILED for one in found)
    return tuple(_joined(one, knew=knew) for one in found)


def _joined(one: Validity, *, knew: bool) -> Validity:
    if one.forbids or not one.ride_mm:
        return one
    if one.test != "visits":
        return replace(one, cure=f"{_how(one)}, and ride the sweep again", ride_mm=())
    unknowing = f", {UNKNOWING}" if knew else ""
    twice = f"and ride the sweep again with {places_said(one.ride_mm)} mm twice"
    return replace(one, cure=f"{_how(one)}{unknowing}, {twice}")


def in_one_list(found: Sequence[Validity], asked: NextRide) -> tuple[tuple[Validity, ...], NextRide]:
    """The same where single positions are ridden as well, and all that are asked for, in one list."""
    those = [one for one in found if _open(one) and one.ride_mm]
    among = {one.test: replace(one, cure=f"{_how(one)}: {AMONG}") for one in those}
    return tuple(among.get(one.test, one) for one in found), with_these(
        asked, [mm for one in those for mm in one.ride_mm]
    )


def in_order(opened: Sequence[Validity], asked: NextRide | None) -> tuple[str, ...]:
    """What to do, one thing after the other. asked: what to ride as well, where nothing has to be cured before."""
    found: list[str] = []
    if asked is not None:
        hows = [_how(one) for one in opened if one.ride_mm]
        found.append(", and ".join(filter(None, [", ".join(hows), in_words(asked)])))
        opened = [one for one in opened if not one.ride_mm]
    for one in opened:
        told = one.test == "sham" and any(UNKNOWING in cure for cure in found)
        what = one.cure or one.means
        if not told and not any(cure.startswith(what) for cure in found):
            found.append(what)
    return tuple(found)


def _how(one: Validity) -> str:
    return one.cure.removesuffix(again_said(one.ride_mm)).removesuffix(f": {AMONG}")
