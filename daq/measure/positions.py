"""Position sensors of a jig: counts to millimetres, and whether they can be right.

Saddle and bar do not move while the rider rides, so their sensors' readings must not change then. Position sensors
cannot show a saddle that tilts, or a bar that turns in its clamp.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.values import NAN, Array, Samples

OVER_S = 0.5
"""A reading is the mean over this time."""
OFF_MM = 3.0
"""Further from the entered value than this, one of the two is wrong. Common practice, no source."""
MOVED_MM = 2.0
"""A larger change while the saddle is fixed: it has slipped, or the sensor has jumped. Common practice, no source."""
MOVES_MM, MOVES_U = 1.0, 4.0
"""A reading that covers more than this, and more than so many of its standard uncertainties, is of a saddle or bar that
still moves. Judgement, no source."""
FOLLOWED = 0.3
"""A sensor that shows less than this fraction of the requested move is stuck."""


@dataclass(frozen=True, slots=True)
class PositionSensor:
    """One position sensor: what its counts are worth."""

    name: str
    field: str
    """What it measures: setback_mm, or a field of Setting."""
    column: int
    """Of the board's scans."""
    mm_per_count: float
    offset_mm: float
    u_mm: float
    """Standard uncertainty of its reading."""


class Positions:
    """The position sensors of one jig. Feed it scans; call `hold` when the fitter has set the saddle."""

    def __init__(self, sensors: Sequence[PositionSensor] = ()) -> None:
        self.sensors = tuple(sensors)
        self.troubles: dict[str, str] = {}
        """By sensor: what is wrong with it at the current position, one sentence with the remedy."""
        self._recent: deque[tuple[float, Array]] = deque()
        self._second = -math.inf
        self._before: dict[str, float] = {}
        """What was read at the end of the second before."""
        self._stood_mm: dict[str, list[float]] = {}
        """By field: where it stood for a second since the last `hold`."""
        self._held: dict[str, float] = {}
        self._been: dict[str, tuple[float, float]] = {}
        """By field: the lowest and the highest that was read at the seconds' ends since the last `hold`."""
        self._asked_mm = NAN
        self._said: dict[str, str] = {}
        self._moved: list[tuple[float, str]] = []
        """When which sensor has been seen to move since the last `hold`, be it the fitter who moves it."""
        self._doubted: set[str] = set()
        """Sensors found wrong, until one reads what is asked, or what the fitter enters besides."""

    @property
    def now(self) -> dict[str, float]:
        """Millimetres by field, means of the last half second; empty without sensors or before their first scans."""
        if not self._recent:
            return {}
        mm = np.mean([row for _, row in self._recent], axis=0).tolist()
        return {each.field: value for each, value in zip(self.sensors, mm, strict=True)}

    @property
    def u_mm(self) -> dict[str, float]:
        """Standard uncertainty by field."""
        return {each.field: each.u_mm for each in self.sensors}

    def doubt(self, target_mm: float) -> str:
        """Why the setback that is read must not be taken, one sentence; empty if the saddle's sensor has followed the
        way to target_mm since the last `hold` and is not in doubt, or there is none."""
        for each in self.sensors:
            if each.field == "setback_mm" and each.field in self.now:
                reads_mm, held_mm = self.now[each.field], self._held.get(each.field, NAN)
                if each.name in self._doubted and abs(reads_mm - target_mm) > OFF_MM:
                    return (
                        f"{each.name}: reads {reads_mm:.1f} mm where {target_mm:g} mm is asked, and was wrong before: "
                        "enter the setback from the jig's scale"
                    )
                said = self._unlike(each.field, reads_mm, held_mm, target_mm - held_mm)
                if said := said or self._left(each.field, reads_mm, target_mm):
                    return f"{each.name}: {said}"
        return ""

    def moves(self) -> str:
        """Why what is read now must not be taken: saddle or bar still moves, one sentence; empty if both stand."""
        if not self._recent:
            return ""
        for each, over_mm in zip(self.sensors, np.ptp([row for _, row in self._recent], axis=0), strict=True):
            if over_mm > max(MOVES_MM, MOVES_U * each.u_mm):
                return (
                    f"{each.name}: moved by {over_mm:.1f} mm within half a second: clamp it, then confirm, or enter "
                    "the setback from the jig's scale"
                )
        return ""

    def stood(self, until_s: float) -> None:
        """Saddle and bar were to stand until then: a sensor that moved is in doubt until it reads what is asked. One
        that has jumped stays off, and a step redone does not mend it."""
        self._doubted |= {name for at_s, name in self._moved if at_s <= until_s}

    def hold(self, setback_mm: float, asked_mm: float | None, *, entered: bool = False) -> None:
        """The saddle was set to setback_mm, entered or as read, when asked_mm was requested. Judge the saddle's
        sensor."""
        self._moved.clear()
        before, self._held = self._held, self.now
        was_asked_mm, self._asked_mm = self._asked_mm, NAN if asked_mm is None else asked_mm
        self._said = {}
        for each in self.sensors:
            if each.field == "setback_mm" and each.field in self._held:
                reads_mm, before_mm = self._held[each.field], before.get(each.field, NAN)
                said = _off(reads_mm, setback_mm)
                said = said or self._unlike(each.field, reads_mm, before_mm, self._asked_mm - was_asked_mm)
                if said:
                    self._doubted.add(each.name)
                elif entered or abs(reads_mm - self._asked_mm) <= OFF_MM:
                    self._doubted.discard(each.name)
                self._said[each.name] = said or self._still_off(each.name, reads_mm)
        self._been, self._stood_mm = {}, {}
        self._judge()

    def feed(self, samples: Samples, t_s: Array) -> list[tuple[float, dict[str, str]]]:
        """Take n scans with their times. Returns each second that ended: when, and what was wrong then."""
        if not self.sensors or not len(samples) or max(each.column for each in self.sensors) >= samples.counts.shape[1]:
            return []
        ended = []
        counts = samples.counts[:, [each.column for each in self.sensors]].astype(np.float64)
        mm = counts * [each.mm_per_count for each in self.sensors] + [each.offset_mm for each in self.sensors]
        for at_s, row in zip(t_s.tolist(), mm, strict=True):
            second = math.floor(at_s)
            if self._recent and second > self._second:
                self._judge()
                self._follow()
                ended.append((float(second), self.troubles))
                self._moved += [(float(second), name) for name in self.troubles if not self._said.get(name)]
            self._second = second
            self._recent.append((at_s, row))
            while self._recent[0][0] < at_s - OVER_S:
                self._recent.popleft()
        return ended

    def _still_off(self, name: str, reads_mm: float) -> str:
        if name not in self._doubted or math.isnan(self._asked_mm):
            return ""
        return (
            f"reads {reads_mm:.1f} mm where {self._asked_mm:g} mm was asked, and was wrong before. "
            f"If the jig's scale says {self._asked_mm:g} mm, the sensor is wrong: calibrate it"
        )

    def _follow(self) -> None:
        for field, mm in self.now.items():
            low_mm, high_mm = self._been.get(field, (mm, mm))
            self._been[field] = (min(low_mm, mm), max(high_mm, mm))
            stood_mm = self._stood_mm.setdefault(field, [])
            if abs(mm - self._before.get(field, NAN)) <= MOVES_MM and not (
                stood_mm and abs(mm - stood_mm[-1]) < MOVES_MM
            ):
                stood_mm.append(mm)
        self._before = self.now

    def _left(self, field: str, reads_mm: float, target_mm: float) -> str:
        """That it stood where it was asked and is elsewhere now; empty if it did not, or is there."""
        nearest_mm = min(self._stood_mm.get(field, ()), key=lambda mm: abs(mm - target_mm), default=NAN)
        if not abs(nearest_mm - target_mm) <= OFF_MM or abs(reads_mm - target_mm) <= OFF_MM:
            return ""
        return (
            f"stood at {nearest_mm:.1f} mm and now reads {reads_mm:.1f} mm where {target_mm:g} mm is asked: the saddle "
            "was moved on, or the sensor has jumped. Move it, or enter the setback from the jig's scale"
        )

    def _unlike(self, field: str, reads_mm: float, from_mm: float, asked_mm: float) -> str:
        """What is wrong with the way from from_mm, where a move of asked_mm was asked; empty if it was followed."""
        if not abs(asked_mm) > OFF_MM or not abs(reads_mm - from_mm) < FOLLOWED * abs(asked_mm):
            return ""
        low_mm, high_mm = self._been.get(field, (NAN, NAN))
        came_mm = low_mm if asked_mm < 0.0 else high_mm
        if (came_mm - from_mm) / asked_mm >= FOLLOWED:
            return (
                f"went to {came_mm:.1f} mm and now reads {reads_mm:.1f} mm, where a move of {asked_mm:+z.0f} mm was "
                "asked: the saddle was moved on, or the sensor has jumped. Move it, or enter the setback from the "
                "jig's scale"
            )
        return (
            f"moved by {reads_mm - from_mm:.1f} mm where a move of {asked_mm:+z.0f} mm was asked: the sensor sticks, "
            "or the saddle was not moved. Move it, or enter the setback from the jig's scale"
        )

    def _judge(self) -> None:
        found = {name: said for name, said in self._said.items() if said}
        now = self.now
        for each in self.sensors:
            moved_mm = now.get(each.field, NAN) - self._held.get(each.field, NAN)
            if each.name not in found and abs(moved_mm) > MOVED_MM:
                found[each.name] = (
                    f"moved by {moved_mm:+z.1f} mm while saddle and bar stood: a clamp has slipped, or the sensor has "
                    "jumped. See which, and redo the step"
                )
        self.troubles = found


def _off(reads_mm: float, said_mm: float) -> str:
    if abs(reads_mm - said_mm) <= OFF_MM:
        return ""
    return f"reads {reads_mm:.1f} mm where {said_mm:g} mm was entered: undo and enter it again, or check the sensor"
