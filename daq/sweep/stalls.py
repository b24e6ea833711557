"""Why a sweep that should go on does not: no data, nobody turns the crank, or the data cannot be used.

Every stall names its cause within five seconds. Time comes with what is fed.
"""

from __future__ import annotations

from daq.sweep.run import State
from daq.sweep.step import FAULTS
from daq.values import Status, Stroke

NO_SCANS_S = 2.0
NO_STROKE_S = 4.0
"""A stroke at 20 rpm, the slowest there is, takes three seconds."""
LEFT_OUT = 4
"""Consecutive strokes with a fault: less than four seconds at any usual cadence."""
RIDING = (State.SETTLING, State.AVERAGING)


class StallWatch:
    """Feed it what reaches a sweep; `why` gives the cause of a stall."""

    def __init__(self) -> None:
        self._begun_s = self._scan_s = self._turn_s = 0.0
        self._mark = self._sensor = False
        self._faults: list[Status] = []

    def act(self, t_s: float) -> None:
        """The fitter or the plan did something: start watching afresh."""
        self._begun_s, self._faults = t_s, []

    def scan(self, t_s: float, *, marked: bool) -> None:
        """Scans have arrived up to this time. marked: whether the board has ever sent a crank mark."""
        self._scan_s, self._mark = t_s, self._mark or marked

    def turn_told(self) -> None:
        """A sensor has reported a turn of the crank."""
        self._sensor = True

    def stroke(self, stroke: Stroke) -> None:
        """A whole stroke, used or not."""
        self._turn_s = stroke.end_s
        self._faults = [*self._faults[1 - LEFT_OUT :], stroke.flags & FAULTS]

    def why(self, state: State, now_s: float) -> str:
        """The cause, with the remedy, in one sentence; empty while the sweep goes on or waits for the fitter."""
        if state not in RIDING:
            return ""
        if now_s - max(self._scan_s, self._begun_s) > NO_SCANS_S:
            return "no loads arrive: check the board, its cable and its power"
        still_s = now_s - max(self._turn_s, self._begun_s)
        if still_s > NO_STROKE_S:
            return self._no_turn(still_s)
        if len(self._faults) == LEFT_OUT and all(self._faults):
            return _left_out(self._faults[-1])
        return ""

    def _no_turn(self, still_s: float) -> str:
        if not (self._mark or self._sensor):
            return (
                "no turn of the crank is seen: is the rider pedalling? Then the board sends no crank mark, and no "
                "sensor tells of revolutions: connect one, without it nothing is averaged"
            )
        where = "the crank mark and its magnet" if self._mark else "the sensor that tells of revolutions"
        return f"no turn of the crank for {still_s:.0f} s: pedal, or check {where}"


def _left_out(faults: Status) -> str:
    if faults & Status.ADC_ERROR:
        return "every stroke is left out: a converter cannot be read. Look after the wires between converter and board"
    return "every stroke is left out: a channel is at the end of its scale. Unload it, or check its cell's wires"
