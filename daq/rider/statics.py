"""Mean support loads of the simulated rider at one setback, tilt and torque: forces and moments in balance.

Hands come from the support budget, feet from the effort, the saddle carries the rest, and its load point is where the
moment about the BB requires it. Tangential shares are assumptions; a single-axis jig does not see them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from daq.rider.budget import Budget, Posture
from daq.values import Array

HANDS_PULL = 0.10
"""Tangential hand force over hand load, pulling the rider back. Assumption."""
FEET_HOLD = 0.20
"""Fraction of the weight's component along the jig held at the feet. Assumption."""


@dataclass(frozen=True, slots=True)
class Supports:
    """Forces on the rider, jig frame, newtons; arrays with the shape of the torque."""

    hands_n: Array
    saddle_n: Array
    feet_n: Array
    hands_tangential_n: Array
    saddle_tangential_n: Array
    feet_tangential_n: Array
    saddle_x_m: Array
    """The saddle's load point."""
    torque_nm: Array


def supports(budget: Budget, at: Posture, torque_nm: Array, more_hands_n: Array | float) -> Supports:
    """Means over the turn at each torque; more_hands_n is what sway, drift and shifts add to the budget's hand load."""
    hands = np.maximum(budget.hands_n(at, torque_nm) + more_hands_n, 0.0)
    feet = budget.feet_n(at, torque_nm)
    saddle = at.weight_normal_n - hands - feet
    down_slope_n = at.weight_normal_n * math.tan(at.tilt_rad)
    hands_t = -HANDS_PULL * hands
    feet_t = np.full_like(hands, FEET_HOLD * down_slope_n)
    saddle_t = down_slope_n - hands_t - feet_t
    x_h, y_h = at.grip_m
    moment = (
        at.weight_line_m * at.weight_normal_n - torque_nm - x_h * hands + y_h * hands_t + at.saddle_top_m * saddle_t
    )
    return Supports(hands, saddle, feet, hands_t, saddle_t, feet_t, moment / saddle, np.asarray(torque_nm))
