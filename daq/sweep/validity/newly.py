"""What a sweep's tests have found since the answer before: said at once, while the step can still be ridden again."""

from __future__ import annotations

from daq.values import Onset, Result, Validity

REPEATS = ("first position again", "sham", "visits")
"""A repeat that disagrees is told even where the verdict may stand."""


def newly_failed(answer: Onset, told: set[str]) -> list[Validity]:
    """Tests that now forbid a verdict, and repeats that disagree, each told once a sweep; told grows by their names.

    What is only suspected because there is no verdict yet is not told: every sweep begins without one.
    """
    found = [
        one
        for one in answer.validity
        if one.result is Result.FAILED and one.test not in told and (one.forbids or _disagrees(one))
    ]
    told.update(one.test for one in found)
    return found


def _disagrees(one: Validity) -> bool:
    """Whether it is a repeat whose difference from before is beyond what sway does."""
    interval = one.interval_95
    return one.test in REPEATS and interval is not None and not interval[0] <= 0.0 <= interval[1]


def said(one: Validity) -> str:
    """The finding with what to do now."""
    redo = "redo the step if hands, seat or saddle have shifted"
    return f"{one.means}: {redo}" if one.test in REPEATS else f"{one.means}: {one.cure}" if one.cure else one.means
