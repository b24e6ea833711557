"""What is known about a sweep besides its steps: who rode, on what, in which order, and which faults were seen. The
defaults are for a bare table of steps, about which nothing else is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Self

from daq.physics import STANDARD_G_M_S2
from daq.setback_scale import SetbackScale

Way = Literal["forward", "back", ""]
"""From which direction the saddle came to a step; empty: not stated."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault in the measurement seen during a sweep."""

    part: str
    """A cell, or "cells", "plugs", "board", "zero"."""
    sentence: str
    """What is wrong, with the remedy."""
    t_s: float
    """When it was seen, session time."""
    lasting: bool = False
    """Whether it spoils every step, not only those during which it was seen."""
    of_place: bool = False
    """Whether it is one of a sensor that reads where saddle or bar stands."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """Everything the tests of validity need besides steps and answer."""

    calibrated: bool = False
    """Whether the calibration's status is known."""
    calibration_doubt: str = ""
    """Why the calibration may not be trusted; empty if it may."""
    calibration_id: str = ""
    failure: str = ""
    """Which part of the computation failed during the sweep; empty if none did."""
    mass_kg: float | None = None
    g_m_s2: float = STANDARD_G_M_S2
    watched: bool = False
    """Whether the cells were watched for faults during the sweep."""
    faults: tuple[Fault, ...] = ()
    torque_expected: bool = False
    """Whether crank torque is to be expected: ridden on a jig, or a table with a column for it."""
    records_lost: bool = False
    """Whether some of what was received can no longer be read."""
    effort_held: str = ""
    """What a trainer was set to hold, if the effort was not measured, such as "200 W by the trainer"; empty:
    nothing."""
    dummy: bool = False
    """A proof of the jig with weights or a machine in the rider's place: there is no effort, no habit, no hips."""
    order: str = ""
    """The plan's order: out and back, shuffled, adaptive, one way; empty: unknown."""
    finished: bool = True
    """Whether no more steps will come."""
    ways: tuple[Way, ...] = ()
    """From which direction the saddle came to each step, in the order of the steps, as stated; one that is empty, or
    all: inferred from their times."""
    protocol: str = ""
    """Reach kept or bar fixed, as declared; empty: unknown."""
    drop: str = ""
    """Drop kept or bar height kept, as the plan has it; empty: unknown."""
    blinded: bool | None = None
    """Whether the rider knew neither loads nor setback; None: not stated."""
    habitual_setback_mm: float | None = None
    """The client's saddle's setback outside the jig."""
    saddle_cells: tuple[tuple[int, float], ...] = ()
    """(column of cells_n, x_mm at setback 0) of each saddle cell with a known position."""
    hand_cells: tuple[int, ...] = ()
    """Columns of cells_n of the cells at the hands."""
    hands_along: str = ""
    """What is taken of the hands' force along the jig, on which the weight line rests; empty where cells measure it, or
    nobody said."""
    scale: SetbackScale | None = None
    """The jig's setback scale, if it was checked against a caliper."""
    jig_said: tuple[str, ...] = ()
    """The status of the jig's scale and proof, a few words each; empty for a table of steps."""

    def checked(self, standing: Mapping[str, Any]) -> Self:
        """The same after a check with a known weight; that of another calibration says nothing of this one.

        standing: id, sentence and allows_verdict.
        """
        if standing["id"] != self.calibration_id:
            return self
        doubt = "" if standing["allows_verdict"] else standing["sentence"]
        return replace(self, calibrated=True, calibration_doubt=doubt)
