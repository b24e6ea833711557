"""Loads cut into whole crank revolutions.

A mean over anything but whole strokes carries ripple: A/(2 pi K) of an amplitude A over K strokes. So strokes are cut
at crank marks, which the board sets on the scan where the crank passes. On a rig without a mark they are cut at turns
from another source: the ripple of the loads themselves, or the crank events of the power sensor, whose times are
accurate to 20-25 ms: enough to cut strokes, but not for phase.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from daq.physics import crank_torque_nm, weight_normal_n
from daq.values import NAN, Loads, Status, Stroke

SLOWEST_STROKE_S = 3.0
"""20 rpm. A longer gap between two marks is a stop, not a stroke."""
FASTEST_STROKE_S = 0.25
"""240 rpm. A mark sooner than this after the last is a bounce of the switch."""
READING_FRESH_S = 3.0
"""A power reading older than this says nothing about a stroke; sensors send about one a second."""
MARK = "mark"
LOST_SCANS_S = 0.25
"""Scans may be this much older than their receipt time; no stroke reaches this close to lost scans."""
HISTORY_S = 20.0
"""How long loads are kept while waiting for late crank events."""


class StrokeCutter:
    """Feed it loads and turns in receipt order; it returns whole strokes as soon as they are known."""

    def __init__(self, *, mass_kg: float | None, g_m_s2: float) -> None:
        self.mass_kg = mass_kg
        """The rider's mass, for strokes that end from now on; None if unknown."""
        self._g_m_s2 = g_m_s2
        self._pending: list[Loads] = []
        self._awaited: list[tuple[float, str]] = []
        self._boundary: tuple[float, str] | None = None
        self._power: tuple[float, float, float | None] | None = None
        self._marks_seen = False
        self._lost_s: list[tuple[float, float]] = []

    def feed_loads(self, loads: Loads) -> list[Stroke]:
        """The strokes that end within these loads."""
        self._remember(loads)
        marked = loads.t_s[(loads.status & Status.CRANK_MARK) != 0]
        if len(marked):
            self._marks_seen = True
            self._awaited = []
            return self._cut([(t_s, MARK) for t_s in marked.tolist()])
        reached = sorted(turn for turn in self._awaited if turn[0] <= loads.t_s[-1])
        self._awaited = [turn for turn in self._awaited if turn[0] > loads.t_s[-1]]
        return self._cut(reached)

    @property
    def marked(self) -> bool:
        """Whether the board sends crank marks; then no other source is used."""
        return self._marks_seen

    def feed_turns(self, times_s: Sequence[float], *, told_by: str) -> None:
        """Times at which turns begin, session time; ignored once the board sends crank marks. The strokes between them
        come out of feed_loads once the loads have reached them. No stroke spans a change of source: each source has its
        own phase.
        """
        if not self._marks_seen:
            self._awaited.extend((t_s, told_by) for t_s in times_s)

    def feed_power(self, t_s: float, power_w: float, torque_nm: float | None = None) -> None:
        """Power, and mean crank torque where the sensor measures it, for the strokes that end from now on."""
        self._power = (t_s, power_w, torque_nm)

    def pass_over(self, from_s: float, to_s: float) -> None:
        """Scans received in between are lost: no stroke is made across the gap."""
        self._lost_s.append((from_s - LOST_SCANS_S, to_s + LOST_SCANS_S))

    def break_off(self, at_s: float) -> None:
        """Scans right after this one have no time: no stroke is made across them."""
        self._lost_s.append((at_s, math.nextafter(at_s, math.inf)))

    def _remember(self, loads: Loads) -> None:
        self._pending.append(loads)
        oldest_s = loads.t_s[-1] - HISTORY_S
        while self._pending[0].t_s[-1] < oldest_s:
            self._pending.pop(0)
        self._lost_s = [lost for lost in self._lost_s if lost[1] >= oldest_s]

    def _cut(self, turns: Sequence[tuple[float, str]]) -> list[Stroke]:
        """The strokes between these turn starts, each (time, source), in order of time."""
        strokes = []
        for turn in turns:
            last, self._boundary = self._boundary, turn
            if last is None or last[1] != turn[1]:
                continue
            if turn[0] - last[0] < FASTEST_STROKE_S:
                self._boundary = last
            elif any(last[0] < end_s and turn[0] > start_s for start_s, end_s in self._lost_s):
                continue
            elif turn[0] - last[0] <= SLOWEST_STROKE_S and (stroke := self._average(last[0], turn[0])):
                strokes.append(stroke)
        return strokes

    def _average(self, start_s: float, end_s: float) -> Stroke | None:
        parts = [part for part in self._pending if part.t_s[-1] >= start_s and part.t_s[0] < end_s]
        power_w, torque_nm = self._power_over(start_s, end_s)
        return averaged(
            parts,
            start_s,
            end_s,
            mass_kg=self.mass_kg,
            g_m_s2=self._g_m_s2,
            power_w=power_w,
            torque_nm=torque_nm,
        )

    def _power_over(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Power and mean crank torque, measured or from the power, of the stroke; NaN without a fresh reading."""
        if self._power is None or end_s - self._power[0] > READING_FRESH_S:
            return NAN, NAN
        _, power_w, torque_nm = self._power
        return power_w, crank_torque_nm(power_w, 60.0 / (end_s - start_s)) if torque_nm is None else torque_nm


def averaged(
    parts: Sequence[Loads],
    start_s: float,
    end_s: float,
    *,
    mass_kg: float | None,
    g_m_s2: float,
    power_w: float,
    torque_nm: float,
) -> Stroke | None:
    """Means over the scans of these loads in [start, end); None if there are none."""
    if not parts:
        return None
    t_s = np.concatenate([part.t_s for part in parts])
    inside = (t_s >= start_s) & (t_s < end_s)
    if not inside.any():
        return None
    cells_n = np.concatenate([part.cells_n for part in parts])[inside]
    hands_n, saddle_n, tilt_deg = (
        float(np.concatenate([getattr(part, name) for part in parts])[inside].mean())
        for name in ("hands_n", "saddle_n", "tilt_deg")
    )
    status = np.concatenate([part.status for part in parts])[inside]
    normal_n = weight_normal_n(mass_kg, tilt_deg, g_m_s2) if mass_kg else NAN
    return Stroke(
        start_s=start_s,
        end_s=end_s,
        hands_n=hands_n,
        saddle_n=saddle_n,
        feet_n=normal_n - hands_n - saddle_n,
        tilt_deg=tilt_deg,
        crank_torque_nm=torque_nm,
        power_w=power_w,
        cells_n=tuple(float(cell.mean()) for cell in cells_n.T),
        scans=int(inside.sum()),
        flags=Status(int(np.bitwise_or.reduce(status))),
    )
