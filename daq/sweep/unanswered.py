"""Why a sweep has no answer: too little to answer from, or nothing was asked."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.sweep.places import places
from daq.sweep.plan import FEWEST_POSITIONS, Plan
from daq.values import StepMean


def why_unanswered(plan: Plan | None, steps: Sequence[StepMean]) -> str:
    """Why these steps give no onset; empty if they give one. plan: None when no sweep was begun."""
    if plan is None:
        return "no sweep was begun in what was received"
    if not plan.names_onset:
        return "its plan asks for no onset"
    if not steps:
        return "no position was finished, so there is nothing to answer from"
    if any(math.isnan(step.hand_load_n) for step in steps):
        return "the hands' cells are not calibrated, so their load is not known: choose a calibration that has them"
    different = len(places(np.array([step.setback_mm for step in steps])))
    if different < FEWEST_POSITIONS:
        return f"{different} of at least {FEWEST_POSITIONS} different positions were finished, too few to answer from"
    return ""
