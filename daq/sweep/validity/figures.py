"""How a test of validity ended, and its number, as a reader needs them: what it is, with its unit, the interval."""

from __future__ import annotations

import math

from daq.values import Result, Validity
from daq.words import with_minus_signs

ENDED = {Result.PASSED: "held", Result.FAILED: "failed", Result.NOT_MADE: "not made"}
"""On every screen and page."""
SHARE = ""
"""The unit of shares and probabilities, which are told in per cent."""
WHAT = {
    ("cells", "faults"): "faults seen",
    ("feet", SHARE): "left for the feet",
    ("tilt", "deg"): "change of the jig's tilt",
    ("torque", "N m"): "change of crank torque",
    ("torque", "steps"): "steps without crank torque",
    ("direction", SHARE): "moves that went the other way",
    ("hips", "mm/mm"): "weight line, for each mm of saddle",
    ("hands", "N"): "largest shift of hand load that stayed",
    ("left and right hand", "N"): "largest difference between the hands",
    ("reach", "mm"): "most that reach or drop was off",
    ("saddle tilt", "deg"): "change of the saddle's tilt",
    ("passes", "N"): "hand load going back, against coming forward",
    ("lag", SHARE): "chance that hand load follows slowly",
    ("fatigue", "N"): "hand load gained over the sweep",
    ("drift", "N"): "hand load gained within a dwell",
    ("first position again", "N"): "hand load later, against the first time",
    ("sham", "N"): "hand load changed with nothing moved",
    ("visits", "N"): "scatter between visits to one place",
    ("habit", "mm"): "onset against the client's own place, back +",
}
"""By test and unit, read before the number."""
SIGNED = ("hands", "left and right hand", "passes", "fatigue", "drift", "first position again", "sham", "habit")
UNITS = {SHARE: "%", "mm/mm": "mm", "faults": "", "steps": ""}
DIGITS = {SHARE: 0, "mm/mm": 2, "faults": 0, "steps": 0}


def figure(one: Validity) -> str:
    """Empty for a test without a number."""
    if not math.isfinite(one.value):
        return ""
    named = UNITS.get(one.unit, one.unit)
    unit = "°" if named == "deg" else f"\N{NO-BREAK SPACE}{named}" if named else ""
    told = f"{WHAT.get((one.test, one.unit), one.test)}: {_rounded(one, one.value)}{unit}"
    if one.interval_95 is not None:
        low, high = (_rounded(one, end) for end in one.interval_95)
        told += f", 95 % {low} to {high}{unit}"
    return with_minus_signs(told)


def _rounded(one: Validity, value: float) -> str:
    digits = DIGITS.get(one.unit, 1)
    shown = 100.0 * value if one.unit == SHARE else value
    return f"{shown:{'+' if one.test in SIGNED else ''}z.{digits}f}"  # z: no minus before a zero
