"""A simulated rider's visits to places of the saddle: where it really stands, and what each visit adds to hand load.

The memory of a sweep, shared by the rider in scans and the rider in strokes. Draws from a generator of its own, the
same number at every visit, so that one confound more does not change the others' luck.
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
    """Where the saddle is and was. Before the first visit it stands at the reference setback, the rider settled."""

    def __init__(self, budget: Budget, rng: np.random.Generator) -> None:
        self._budget, self._rng = budget, rng
        self._model, self._wrong = budget.model, budget.model.confounds
        self._tilt_rad = 0.0
        self.place = 0
        """How many places the saddle was put to so far."""
        self.said_mm = self.believed_mm = budget.geometry.reference_setback_mm
        self.setback_mm = self.said_mm
        """Where the saddle really stands."""
        self.at: Posture = posture(self._model, budget.geometry, self.setback_mm, 0.0)
        self._since_s = 0.0
        self._behind_n = 0.0
        """How far hand load was from this place's level when the saddle came to it, for a rider who lags."""
        self._scatter_n = 0.0
        self._moves: list[tuple[float, float]] = []
        self._moved_mm: list[float] = []

    def put(self, said_mm: float, t_s: float, torque_nm: float) -> None:
        """The saddle is put to a place said to be said_mm, once more to the same one too. ValueError, with nothing
        changed, where the rider cannot sit."""
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
        """(n,) what comes on top of the hand load of a rider without confounds, sway and drift left out."""
        wrong = self._wrong
        more_n = self._scatter_n + wrong.expected_n(self.believed_mm) + wrong.fatigue_n(t_s) + self._lagging_n(t_s)
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

    def _lagging_n(self, t_s: Array) -> Array:
        if self._wrong.lag_s <= 0.0:
            return np.zeros_like(t_s)
        return np.asarray(self._behind_n * np.exp(-self.since_s(t_s) / self._wrong.lag_s))

    def _believe(self, moved_mm: float, felt: float) -> None:
        """The rider reckons on from move to move; one that was none is taken for a usual one, the same way as last."""
        if moved_mm != 0.0:
            self._moved_mm.append(moved_mm)
            self.believed_mm += moved_mm * (1.0 + MOVE_FELT * felt)
        elif self._moved_mm:
            self.believed_mm += math.copysign(float(np.median(np.abs(self._moved_mm))), self._moved_mm[-1])
        else:
            self.believed_mm -= USUAL_MOVE_MM
