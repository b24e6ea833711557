"""How a sweep stands, as a screen needs it."""

from __future__ import annotations

from dataclasses import dataclass

from daq.sweep.run import State, Trigger


@dataclass(frozen=True, slots=True)
class SweepStatus:
    """The status of a sweep, as a screen needs it."""

    state: State
    accepts: tuple[Trigger, ...]
    step: int
    """The current step, counted from 1 as on the screen; the last one when all are done."""
    planned_mm: tuple[float, ...]
    asked_setback_mm: float | None
    setback_mm: float | None
    settle_left_s: float | None
    dwell_left_s: float | None
    in_band: bool | None
    """None: unknown, because there is no power reading."""
    torque_nm: float | None
    """Mean over the last strokes, as judged; None before the first, NaN without a power reading."""
    cadence_rpm: float | None
    why_waiting: str
    why_here: str
    """Why an adaptive plan chose this position or has ended; empty for other plans."""
    seconds_left: float
    """Including the moves of the saddle, as in the plan's expected duration."""
