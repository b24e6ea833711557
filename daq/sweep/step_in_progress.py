"""The step being ridden: strokes in, its mean out. It knows no plan and no states, and begins anew with every move."""

from __future__ import annotations

from collections import deque
from dataclasses import replace

from daq.sweep.hands import jump_n
from daq.sweep.held import effort
from daq.sweep.step import FAULTS, FAULTY, OFF_EFFORT, is_steady, step_mean
from daq.values import LeftOut, StepMean, Stroke

RECENT = 32
"""Strokes by which settling and effort are judged."""
MOST_LEFT_OUT = 2000
"""Strokes left out of one step that are kept, the latest: twenty minutes of them. A rider below the effort all day
would otherwise fill the memory; those before are counted."""


class StepInProgress:
    """The strokes of one position since it began. Verbs: hear a stroke, count it, lose a stretch."""

    def __init__(self, from_s: float) -> None:
        self.from_s = from_s
        self.lost_s = 0.0
        """How much of it is lost."""
        self._recent: list[Stroke] = []
        self._used: list[Stroke] = []
        self._left_out: deque[LeftOut] = deque(maxlen=MOST_LEFT_OUT)
        self._not_kept = 0
        """How many more were left out."""
        self._jump_told = False

    @property
    def held(self) -> tuple[float, float] | None:
        """Torque in N m and cadence in rpm over the last strokes; None before the first."""
        return effort(self._recent)

    @property
    def is_steady(self) -> bool:
        """Whether the rider sits still."""
        return is_steady(self._recent)

    @property
    def ridden_s(self) -> float:
        """How long the strokes that count took."""
        return sum(stroke.end_s - stroke.start_s for stroke in self._used)

    def hear(self, stroke: Stroke) -> None:
        """Take note of a stroke, also while the rider settles."""
        self._recent = [*self._recent[1 - RECENT :], stroke]

    def count(self, stroke: Stroke, *, off_effort: bool) -> bool:
        """Whether a stroke counts; one that does not is left out of the mean."""
        faulty = bool(stroke.flags & FAULTS)
        if not faulty and not off_effort:
            self._used.append(stroke)
            return True
        self._not_kept += len(self._left_out) == MOST_LEFT_OUT
        self._left_out.append(LeftOut(stroke, FAULTY if faulty else OFF_EFFORT))
        return False

    def lose(self, from_s: float, to_s: float) -> None:
        """Note that nothing is known of this time, as far as it belongs to the step."""
        self.lost_s += max(0.0, to_s - max(from_s, self.from_s))

    def jumped_n(self) -> float | None:
        """By how much the hand load has jumped, the first time it has; None otherwise."""
        if self._jump_told:
            return None
        jump = jump_n(self._used)
        self._jump_told = jump is not None
        return jump

    def mean(self, setback_mm: float) -> StepMean:
        """ValueError if no stroke counts."""
        mean = step_mean(setback_mm, self._used, left_out=self._left_out)
        return replace(mean, excluded=mean.excluded + self._not_kept)
