"""All tests of a sweep's validity, in the order in which they are told."""

from __future__ import annotations

from collections.abc import Callable

from daq.sweep.validity.dwell import drift
from daq.sweep.validity.effort import torque
from daq.sweep.validity.habit import habit
from daq.sweep.validity.hands import hands, left_right
from daq.sweep.validity.hips import hips
from daq.sweep.validity.jig import calibration, cells, computation, feet, tilt
from daq.sweep.validity.passes import direction, passes
from daq.sweep.validity.reach import reach, saddle_tilt
from daq.sweep.validity.repeats import first_again, sham, visits
from daq.sweep.validity.seen import Seen
from daq.sweep.validity.slow import fatigue, lag
from daq.values import Validity

Test = Callable[[Seen], Validity]

TESTS: tuple[Test, ...] = (
    computation,
    calibration,
    cells,
    feet,
    tilt,
    torque,
    direction,
    hips,
    hands,
    left_right,
    reach,
    saddle_tilt,
    passes,
    lag,
    fatigue,
    drift,
    first_again,
    sham,
    visits,
    habit,
)
"""Decide, sheet, terminal and export read what these give; a test not listed is not made."""
