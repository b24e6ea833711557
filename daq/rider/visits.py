"""A simulated rider's visits to saddle positions: where the saddle truly is, and what each visit adds to hand load. It
is the memory of a sweep, shared by the rider in scans and the rider in strokes. It draws the same number of values from
its own generator at every visit, so that adding a confound does not change the others' random draws.
"""

from __future__ import annotations

import math

import numpy as np

from daq.rider.budget import Budget, Posture, posture
from daq.rider.confounds import MOVE_FELT, USUAL_MOVE_MM
from daq.values import Array

SETTLED = 3.0
"""e-folds until a disturbance counts as settled: 5 % left."""
FULL_MOVE_MM = 5.0
"""A move this far unsettles the rider fully."""


class Visits:
    """Where the saddle is and was. Before the first visit it is at the reference setback, with the rider settled."""

    def __init__(self, budget: Budget, rng: np.random.Generator) -> None:
        self._budget, self._rng = budget, rng
        self._model, self._wrong = budget.model, budget.model.confounds
        self._tilt_rad = 0.0
        self.place = 0
        """How many times the saddle has been set so far."""
        self.said_mm = self.believed_mm = budget.geometry.reference_setback_mm
        self.setback_mm = self.said_mm
        """The saddle's true position."""
        self.at: Posture = posture(self._model, budget.geometry, self.setback_mm, 0.0)
        self._since_s = 0.0
        self._behind_n = 0.0
        """How far hand load was from this position's level when the saddle arrived, for a rider who lags."""
        self._scatter_n = 0.0
        self._moves: list[tuple[float, float]] = []
        self._moved_mm: list[float] = []
        self._tires_from_s: float | None = None
        self._tires_over_s = self._wrong.fatigue_over_s

    def tire(self, from_s: float, over_s: float) -> None:
        """The ride begins at from_s, infinity for not yet: no fatigue before, and its whole size over_s later and from
        then on. Without this the ride begins with the jig's clock."""
        self._tires_from_s, self._tires_over_s = from_s, over_s

    def put(self, said_mm: float, t_s: float, torque_nm: float) -> None:
        """The saddle is set to a position stated as said_mm, possibly the same again. ValueError, with nothing changed,
        if the rider cannot sit there."""
        if not math.isfinite(said_mm):
            raise ValueError(f"setback_mm: expected a number, got {said_mm}")
        placed, scattered, felt = self._rng.standard_normal(3)
        setback_mm = said_mm + self._wrong.placement_mm * float(placed)
        at = posture(self._model, self._budget.geometry, setback_mm, self._tilt_rad)
        before_n, after_n = (float(self._budget.hands_n(each, torque_nm)) for each in (self.at, at))
        self._behind_n = float(self._lagging_n(np.array(t_s))) + before_n - after_n
        self._believe(said_mm - self.said_mm, float(felt))
        part = min(1.0, abs(said_mm - self.said_mm) / FULL_MOVE_MM)
        self._moves = [*self._moves[-3:], (t_s, part * self._model.settle_n)]
        self._scatter_n = self._wrong.scatter_n * float(scattered)
        self.said_mm, self.setback_mm, self.at = said_mm, setback_mm, at
        self._since_s = t_s
        self.place += 1

    def tilt(self, tilt_rad: float) -> None:
        """The jig is tilted, nose up positive."""
        self.at = posture(self._model, self._budget.geometry, self.setback_mm, tilt_rad)
        self._tilt_rad = tilt_rad

    def more_n(self, t_s: Array) -> Array:
        """(n,) what is added to the hand load of a rider without confounds, excluding sway and drift."""
        wrong = self._wrong
        more_n = self._scatter_n + wrong.expected_n(self.believed_mm) + self._fatigue_n(t_s) + self._lagging_n(t_s)
        for moved_s, size_n in self._moves:
            more_n = more_n + size_n * np.exp(-SETTLED * (t_s - moved_s) / self._model.settle_s)
        return np.asarray(more_n + self.grip_n(t_s))

    def grip_n(self, t_s: Array) -> Array:
        """(n,) the part of it that another grip puts on the right hand."""
        wrong, since_s = self._wrong, self.since_s(t_s)
        changed = (self.place > wrong.grip_place) | ((self.place == wrong.grip_place) & (since_s >= wrong.grip_after_s))
        return np.asarray(wrong.grip_n * changed)

    def since_s(self, t_s: Array) -> Array:
        """(n,) how long the saddle has stood here."""
        return np.asarray(t_s - self._since_s)

    @property
    def torque_lost_nm(self) -> float:
        """Crank torque missing here, which the rider does not know of."""
        return self._wrong.torque_lost_nm(self.setback_mm)

    def _fatigue_n(self, t_s: Array) -> Array:
        if self._tires_from_s is None:
            return self._wrong.fatigue_n(t_s)
        part = np.clip((t_s - self._tires_from_s) / self._tires_over_s, 0.0, 1.0)
        return self._wrong.fatigue_n(part * self._wrong.fatigue_over_s)

    def _lagging_n(self, t_s: Array) -> Array:
        if self._wrong.lag_s <= 0.0:
            return np.zeros_like(t_s)
        return np.asarray(self._behind_n * np.exp(-self.since_s(t_s) / self._wrong.lag_s))

    def _believe(self, moved_mm: float, felt: float) -> None:
        """The rider's belief is updated from move to move; a sham is taken for a typical move in the last direction."""
        if moved_mm != 0.0:
            self._moved_mm.append(moved_mm)
            self.believed_mm += moved_mm * (1.0 + MOVE_FELT * felt)
        elif self._moved_mm:
            self.believed_mm += math.copysign(float(np.median(np.abs(self._moved_mm))), self._moved_mm[-1])
        else:
            self.believed_mm -= USUAL_MOVE_MM
