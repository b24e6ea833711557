"""Everything computed from a stored sweep, for an export or an analysis."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from daq.sweep.step import FAULTS
from daq.values import NAN, Array, Loads, Onset, StepMean, Stroke


@dataclass(frozen=True, slots=True)
class StepUncertainty:
    """How well one step's loads are known: standard uncertainties, N; NaN if they cannot be computed."""

    se_n: float
    """Of the hand load's mean by its strokes alone: independent between steps."""
    stated_n: float
    """The same combined with the scatter about the curve, as pages and sheets show it."""
    hands_calibration_n: float
    """Of the hand load, from the calibration: nearly the same error on every step, so irrelevant to the onset."""
    saddle_calibration_n: float

    @property
    def hands_n(self) -> float:
        """Both together, of the hand load."""
        return math.hypot(self.se_n, self.hands_calibration_n)


UNKNOWN = StepUncertainty(NAN, NAN, NAN, NAN)


@dataclass(frozen=True, eq=False, slots=True)
class Derived:
    """One computed sweep; any part may be missing."""

    loads: tuple[Loads, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    """All strokes, in time order."""
    steps: tuple[StepMean, ...] = ()
    """The finished steps that count, in the order in which they were ridden."""
    uncertainties: tuple[StepUncertainty, ...] = ()
    """Of each step; empty if unknown."""
    onset: Onset | None = None
    no_answer: str = ""
    """Why there is no onset."""
    cells: tuple[str, ...] = ()
    """Names of the columns of cells_n."""
    clock_error_ms: Mapping[str, float | None] = field(default_factory=dict)
    """How well each source's clock is known in session time."""
    methods: Mapping[str, str] = field(default_factory=dict)
    """Name and version of what computed each part: {"onset": "grid/1", ...}."""
    jig_said: tuple[str, ...] = ()
    """How scale and proof of the jig stood when the sweep began, a few words each."""
    losses: tuple[str, ...] = ()
    """What is lost of its raw data, one phrase each with times; or why nothing could be computed."""


def step_of_strokes(derived: Derived) -> list[int | None]:
    """For each stroke the number, from 1, of the step it was averaged in; None if it was left out."""
    places = {stroke: number for number, step in enumerate(derived.steps, start=1) for stroke in step.strokes}
    return [places.get(stroke) for stroke in derived.strokes]


def step_of_times(derived: Derived, t_s: Array) -> list[int | None]:
    """For each time the number of the step whose averaged strokes contain it; None if none does."""
    used = sorted((one.start_s, one.end_s, n) for n, step in enumerate(derived.steps, start=1) for one in step.strokes)
    if not used:
        return [None] * len(t_s)
    starts_s, ends_s, numbers = (np.array(column) for column in zip(*used, strict=True))
    place = np.searchsorted(starts_s, t_s, side="right") - 1
    inside = (place >= 0) & (t_s < ends_s[place])
    found: list[int | None] = np.where(inside, numbers[place], 0).tolist()
    return [step or None for step in found]


def exclusions(derived: Derived) -> list[tuple[int, Stroke, str]]:
    """(number from 1, stroke, reason) for each stroke that is in no step's mean."""
    found, told = [], {one.stroke: one.why for step in derived.steps for one in step.left_out}
    for number, (stroke, step) in enumerate(zip(derived.strokes, step_of_strokes(derived), strict=True), start=1):
        if step is None:
            found.append((number, stroke, told.get(stroke) or _reason(stroke, derived.steps)))
    return found


def _reason(stroke: Stroke, steps: tuple[StepMean, ...]) -> str:
    if stroke.flags & FAULTS:
        return "sensor fault"
    spans = [(step.strokes[0].start_s, step.strokes[-1].end_s) for step in steps if step.strokes]
    if any(start_s <= stroke.start_s and stroke.end_s <= end_s for start_s, end_s in spans):
        return "burst, or effort outside its band"
    return "between steps: moving, settling, or a step left out"
