"""What can pass for an onset, or hide one: each confound of a simulated rider and its jig, with a size. Combinable.

All of this is a model; the sizes are judgement. Nothing here changes the rider's true onset, and a rider without one
still has none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from daq.values import Array

NEVER = math.inf
USUAL_MOVE_MM = 5.0
"""The size a rider attributes to a sham move, loosened and put back, before any real one; later it is taken for a move
of the median size so far."""
MOVE_FELT = 0.3
"""Relative standard deviation of a rider's estimate of a real move."""
EXPECTED_OVER_MM = 10.0
"""An expected rise reaches 63 % of its size this far forward of the habitual setback."""
TORQUE_FALLS_OVER_MM = 25.0
FAULT_AFTER_S = 10.0
"""A cell goes wrong this long after its position was set: in the middle of a step."""


@dataclass(frozen=True, slots=True)
class Confounds:
    """Sizes of all confounds; the defaults are a rider and a jig without any. Positions are counted from 1 as
    ridden."""

    slide_behind_mm: float = NEVER
    """While the saddle is behind this setback, the hips stay where they are and slide forward on it."""
    slide_share: float = 1.0
    """The fraction of the saddle's move that this undoes."""
    bar_stays: bool = False
    """The bar stays where it is, whatever the plan says about reach."""
    lag_s: float = 0.0
    """Time constant with which posture, and so hand load, approaches each position's level."""
    scatter_n: float = 0.0
    """Standard deviation between visits: posture and grip are new at each."""
    placement_mm: float = 0.0
    """Standard deviation of the saddle's true position about the stated one."""
    fatigue_late_n: float = 0.0
    """Hand load gained by the end of the ride, all of it in the second half."""
    fatigue_linear_n: float = 0.0
    fatigue_saturating_n: float = 0.0
    """Most of it early: 1 - exp(-3 t / over), of its end value."""
    fatigue_over_s: float = 600.0
    """When fatigue reaches its size; late and linear continue at the same rate."""
    expectation_n: float = 0.0
    """Hand load an unblinded rider adds, at most, forward of the habitual place: it answers to where the rider believes
    the saddle to be."""
    habit_mm: float = 60.0
    blinded: bool = False
    grip_n: float = 0.0
    """Hand load gained, by the right hand alone, when it takes another grip in mid-sweep."""
    grip_place: int = 6
    grip_after_s: float = 0.0
    """Delay after the saddle was put there."""
    torque_falls_nm: float = 0.0
    """Torque lost forward of a position, linearly over the next 25 mm; no power sensor shows it."""
    torque_falls_mm: float = 55.0
    no_power: bool = False
    """There is no power sensor."""
    frozen_hand_place: float = NEVER
    """The right hand's cell is frozen from this position on."""
    frozen_nose_place: float = NEVER
    saturated_place: float = NEVER
    """The right hand's converter is saturated from this position on."""
    gain: float = 1.0
    """Gain of the right hand's cell from gain_place on, relative to before."""
    gain_place: int = 6
    swapped: bool = False
    """The plugs of the right hand's cell and of the saddle's rear cell are swapped."""
    swapped_saddle: bool = False
    """Those of the saddle's two cells."""
    slide_sticks_place: float = NEVER
    """The sensor of the saddle's slide sticks, from this position on, at the previous reading."""
    slide_jumps_place: float = NEVER
    """It jumps while this position is ridden."""

    def __post_init__(self) -> None:
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if not (low <= value <= high or (value == NEVER and name in _NEVER_BY_DEFAULT)):
                raise ValueError(f"{name}: expected {low:g} to {high:g}, got {value:g}")

    @property
    def power_told(self) -> bool:
        """Whether a power sensor shows the rider's effort."""
        return not (self.no_power or self.torque_falls_nm > 0.0)

    def seat_mm(self, setback_mm: float) -> float:
        """The setback of the hips: the saddle's, or less if they slide."""
        return setback_mm - self.slide_share * max(setback_mm - self.slide_behind_mm, 0.0)

    def fatigue_n(self, t_s: Array) -> Array:
        """Hand load gained after t_s of riding."""
        part = t_s / self.fatigue_over_s
        saturating = (1.0 - np.exp(-3.0 * part)) / (1.0 - math.exp(-3.0))
        late = np.maximum(2.0 * part - 1.0, 0.0)
        gained_n = self.fatigue_late_n * late + self.fatigue_linear_n * part + self.fatigue_saturating_n * saturating
        return np.asarray(gained_n)

    def expected_n(self, believed_mm: float) -> float:
        """Hand load added by a rider who believes the saddle to be at this setback."""
        if self.blinded:
            return 0.0
        forward_mm = max(self.habit_mm - believed_mm, 0.0)
        return self.expectation_n * (1.0 - math.exp(-forward_mm / EXPECTED_OVER_MM))

    def torque_lost_nm(self, setback_mm: float) -> float:
        """Crank torque missing with the saddle there."""
        forward_mm = self.torque_falls_mm - setback_mm
        return self.torque_falls_nm * min(max(forward_mm / TORQUE_FALLS_OVER_MM, 0.0), 1.0)


_LIMITS = (
    ("slide_behind_mm", -50.0, 250.0),
    ("slide_share", 0.0, 1.0),
    ("lag_s", 0.0, 600.0),
    ("scatter_n", 0.0, 30.0),
    ("placement_mm", 0.0, 10.0),
    ("fatigue_late_n", -60.0, 60.0),
    ("fatigue_linear_n", -60.0, 60.0),
    ("fatigue_saturating_n", -60.0, 60.0),
    ("fatigue_over_s", 30.0, 14400.0),
    ("expectation_n", -60.0, 60.0),
    ("habit_mm", -50.0, 250.0),
    ("grip_n", -200.0, 200.0),
    ("grip_place", 1, 60),
    ("grip_after_s", 0.0, 600.0),
    ("torque_falls_nm", 0.0, 15.0),
    ("torque_falls_mm", -50.0, 250.0),
    ("frozen_hand_place", 1, 60),
    ("frozen_nose_place", 1, 60),
    ("saturated_place", 1, 60),
    ("gain", 0.1, 3.0),
    ("gain_place", 1, 60),
    ("slide_sticks_place", 2, 60),
    ("slide_jumps_place", 1, 60),
)
_NEVER_BY_DEFAULT = {field.name for field in fields(Confounds) if field.default == NEVER}
NONE = Confounds()
