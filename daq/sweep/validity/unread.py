"""What the tests say of a rider while the jig is at fault: nothing that rests on the loads in doubt."""

from __future__ import annotations

from collections.abc import Sequence

from daq.sweep.validity.jig import wrong_cells
from daq.sweep.validity.saying import not_made
from daq.sweep.validity.seen import Seen
from daq.values import Result, Validity

OF_THE_LOADS = (
    "hips",
    "hands",
    "left and right hand",
    "passes",
    "lag",
    "fatigue",
    "drift",
    "first position again",
    "sham",
    "visits",
)
"""Tests that read the loads of the cells."""


def unread(found: Sequence[Validity], sweep: Seen) -> tuple[Validity, ...]:
    """The findings without those that the fault explains. A cell that was wrong shifts its load from one step on, as
    a rider does who tires or whose hands move, so nothing that the loads say is told beside it. A calibration in doubt
    or a wrong mass shifts all steps alike: what forbids then still counts, when it is mended."""
    shifts = wrong_cells(sweep)
    return tuple(
        not_made(one.test, f"{one.test} not looked at: what is wrong with the jig may explain the loads")
        if one.test in OF_THE_LOADS and one.result is Result.FAILED and (shifts or not one.forbids)
        else one
        for one in found
    )
