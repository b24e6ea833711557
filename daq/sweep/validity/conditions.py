"""What is known of a sweep beside its steps: who rode, on what, in which order, and what was seen to go wrong.

The defaults are those of a bare table of steps, of which nothing is known but what stands in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from daq.physics import STANDARD_G_M_S2
from daq.setback_scale import SetbackScale

Way = Literal["forward", "back", ""]
"""How the saddle came to a step; empty: not said."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something seen to be wrong with the measuring during a sweep."""

    part: str
    """A cell, or "cells", "board", "zero"."""
    sentence: str
    """What it is, with the remedy."""
    t_s: float
    """When it was seen, session time."""
    lasting: bool = False
    """Whether it spoils every step and not only those during which it was seen."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """Everything the tests of validity need beside steps and answer."""

    calibrated: bool = False
    """Whether it is known how the calibration stood."""
    calibration_doubt: str = ""
    """Why the calibration may not be trusted; empty when it may."""
    failure: str = ""
    """Which part of the computation failed while the sweep was ridden; empty when none did."""
    mass_kg: float | None = None
    g_m_s2: float = STANDARD_G_M_S2
    watched: bool = False
    """Whether the cells were watched for faults while the sweep was ridden."""
    faults: tuple[Fault, ...] = ()
    torque_expected: bool = False
    """Whether the crank torque should be there: ridden on a jig, or a table with a column for it."""
    effort_held: str = ""
    """What a trainer was told to hold, where nobody measured the effort, as "200 W by the trainer"; empty: nothing."""
    dummy: bool = False
    """A proof of the jig with weights or a machine in the rider's place: there is no effort, no habit, no hips."""
    order: str = ""
    """The plan's: out and back, shuffled, adaptive, one way; empty: not known."""
    finished: bool = True
    """Whether no more steps will come."""
    ways: tuple[Way, ...] = ()
    """How the saddle came to each step, in the order of the steps; empty: their times have to tell."""
    protocol: str = ""
    """Reach kept or bar fixed, as declared; empty: not known."""
    blinded: bool | None = None
    """Whether the rider knew neither loads nor setback; None: not said."""
    habitual_setback_mm: float | None = None
    """Where the client's saddle stands outside the jig."""
    saddle_cells: tuple[tuple[int, float], ...] = ()
    """(column of cells_n, x_mm at setback 0) of each cell under the saddle whose place is known."""
    hand_cells: tuple[int, ...] = ()
    """Columns of cells_n of the cells at the hands."""
    scale: SetbackScale | None = None
    """The jig's scale of setbacks, where it was held against a caliper."""
    jig_said: tuple[str, ...] = ()
    """How scale and proof of the jig stand, a few words each; a table of steps comes from no jig."""
