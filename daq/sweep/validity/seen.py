"""What a test of validity sees: the steps in the order ridden, how well each is known, the answer, the conditions."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from daq.sweep.evidence import MOVED_TOGETHER, PLACED_MM, stroke_errors, with_missed_torque
from daq.sweep.places import SAME_PLACE_MM
from daq.sweep.pooled import pooled
from daq.sweep.torque import with_torque
from daq.sweep.validity.conditions import Conditions, Way
from daq.sweep.validity.effects import SIZE, SUSPICION, Curve, Levels, curve_of
from daq.values import Array, Onset, StepMean, Verdict

SUSPECTED_RISE = 0.1
"""As much as keeps a sweep from being called light."""
FEWEST_BACK = 0.2
"""Share of moves the other way below which a sweep went one way: one return to the first position is no pass."""


@dataclass(frozen=True, eq=False)
class Seen:
    """One sweep before the tests. Made by `seen`."""

    answer: Onset
    steps: tuple[StepMean, ...]
    """In the order ridden, as far as it is known."""
    conditions: Conditions
    ways: tuple[Way, ...]
    """How the saddle came to each step."""
    timed: bool
    """Whether the steps' times are known."""
    withheld: bool = False
    """Whether a test has taken the verdict, so that there is none to lose any more."""
    blamed: bool = False
    """Whether a fault of the jig was seen: it needs no other explanation."""

    def asked_again(self, *, withheld: bool = False, blamed: bool = False) -> Seen:
        """The same for tests made once more. What was computed of the steps depends on neither, and is kept."""
        again = replace(self, withheld=withheld, blamed=blamed)
        vars(again).update({**vars(self), **vars(again)})
        return again

    @property
    def ordered(self) -> bool:
        """Whether it is known how the saddle came to the steps."""
        return self.timed or any(self.ways)

    @cached_property
    def setback_mm(self) -> Array:
        return np.array([step.setback_mm for step in self.steps])

    @cached_property
    def minutes(self) -> Array:
        return np.array([step.t_min for step in self.steps])

    @cached_property
    def torque_nm(self) -> Array:
        """As measured; NaN where it was not."""
        return np.array([step.crank_torque_nm for step in self.steps])

    @cached_property
    def cells_n(self) -> Array:
        """(n, c) mean load of each cell over the strokes of a step. Every step has strokes."""
        return np.array([np.mean([stroke.cells_n for stroke in step.strokes], axis=0) for step in self.steps])

    @cached_property
    def levels(self) -> Levels:
        """With the torque of a step that lacks it taken from the others, and its error, as the estimator does."""
        steps, u_torque_nm = with_torque(self.steps)
        torque_nm = np.array([step.crank_torque_nm for step in steps])
        errors_n = with_missed_torque(stroke_errors(steps), u_torque_nm, pooled(steps))
        placed = np.array([step.u_setback_mm for step in steps])
        known = bool(np.isfinite(torque_nm).all()) and bool(np.ptp(torque_nm) > 0.0)
        return Levels(
            forward_mm=-self.setback_mm,
            hands_n=np.array([step.hand_load_n for step in self.steps]),
            se_n=errors_n if bool(np.all(errors_n > 0.0)) else None,
            u_place_mm=np.where(np.isnan(placed), PLACED_MM, placed),
            minutes=self.minutes if self.timed else None,
            torque_nm=torque_nm if known else None,
            bend_mm=-self.bend_mm,
        )

    @cached_property
    def curve(self) -> Curve:
        return curve_of(self.levels)

    @property
    def bend_mm(self) -> float:
        """Setback of the bend: the onset named, else that of least squares, kept within the ridden positions."""
        found = self.answer.onset_mm if self.answer.onset_mm is not None else self.answer.least_squares_mm
        middle = float(np.median(self.setback_mm))
        at = middle if found is None or not math.isfinite(found) else found
        return min(max(at, float(self.setback_mm.min())), float(self.setback_mm.max()))

    @property
    def rise_seen(self) -> bool:
        """Whether the answer, left to itself, says that hand load begins to rise."""
        return self.answer.p_onset > 0.5

    @property
    def decided(self) -> bool:
        """Whether there is a verdict that a test could take."""
        return not self.withheld and self.answer.verdict is not Verdict.UNDECIDED

    @property
    def suspects(self) -> bool:
        """Whether what only may be wrong is told: there is no verdict, and nothing was seen that explains it."""
        return not self.decided and not self.blamed

    @property
    def size(self) -> float:
        """Share of clean sweeps on which a test may tell of something wrong: where there is no verdict to lose, a
        suspicion is told too, so that whoever rides again knows what to change."""
        return SUSPICION if self.suspects else SIZE

    @cached_property
    def between_moves_s(self) -> float:
        """From one position to the next, the usual; NaN where the times are not known."""
        return 60.0 * float(np.median(np.diff(self.minutes))) if self.timed else math.nan

    @cached_property
    def moves(self) -> tuple[Way, ...]:
        """Which ways the saddle was moved, in order."""
        return tuple(way for way in self.ways if way)

    @cached_property
    def share_back(self) -> float:
        """Share of the moves that went the way fewer went."""
        return min(self.moves.count("forward"), self.moves.count("back")) / max(len(self.moves), 1)

    @cached_property
    def one_way(self) -> bool:
        """Whether the saddle went one way as time went on: a drift then looks like an effect of setback."""
        together = float(abs(np.corrcoef(self.setback_mm, self.minutes)[0, 1])) if self.timed else 0.0
        return self.ordered and (self.share_back < FEWEST_BACK or together > MOVED_TOGETHER)

    @property
    def rise_suspected(self) -> bool:
        """Whether a rise was seen, or, where suspicions are told, whether there well may be one: a drift hides it from
        a sweep that went one way.
        """
        if not self.suspects:
            return self.rise_seen
        return 1.0 - self.answer.p_light > SUSPECTED_RISE or (self.one_way and self.conditions.finished)

    @property
    def unblinded(self) -> bool:
        """Whether there was a rider who knew the setback, and so could expect something of it."""
        return self.conditions.blinded is False and not self.conditions.dummy

    @property
    def may_expect(self) -> bool:
        """Whether there was a rider of whom it is not known that the setback was hidden."""
        return not self.conditions.blinded and not self.conditions.dummy

    def same_place(self, i: int, j: int) -> bool:
        return bool(abs(self.setback_mm[i] - self.setback_mm[j]) < SAME_PLACE_MM)


def seen(answer: Onset, steps: Sequence[StepMean], conditions: Conditions) -> Seen:
    """The sweep as the tests see it. Steps whose times are all known are put in their order."""
    times = np.array([step.t_min for step in steps])
    timed = bool(np.isfinite(times).all()) and bool(np.ptp(times) > 0.0)
    order = np.argsort(times, kind="stable").tolist() if timed else list(range(len(steps)))
    ridden = tuple(steps[i] for i in order)
    said: tuple[Way, ...] = conditions.ways or tuple("" for _ in ridden)
    stated = tuple(said[i] for i in order)
    ways = tuple(one or found for one, found in zip(stated, _ways(ridden), strict=True)) if timed else stated
    return Seen(answer, ridden, conditions, ways, timed)


def _ways(steps: Sequence[StepMean]) -> tuple[Way, ...]:
    found: list[Way] = [""]
    for before, here in itertools.pairwise(steps):
        moved_mm = here.setback_mm - before.setback_mm
        found.append("" if abs(moved_mm) < SAME_PLACE_MM else "back" if moved_mm > 0.0 else "forward")
    return tuple(found)
