"""Readings that a person takes off a scale and types: judged at once, kept as typed, and the scale's daily check."""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable
from typing import Any, Literal

from daq.items import EFFORT, READING
from daq.live.bench.standing import utc_now
from daq.live.session.occupied import Occupied
from daq.measure.calibration.status import SensitivityCheck
from daq.refusals import BadValue, Doubted, NotNow
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.progress import SweepProgress
from daq.sweep.typed.blunders import TypedReadings, blunder
from daq.sweep.typed.progress import TypedProgress, number_of
from daq.values import Reading

ScaleRole = Literal["hands", "saddle"]
SCALE_RELATIVE = 0.02
"""Expanded uncertainty of a hanging or bathroom scale with the levers of a bar. Common practice, no source."""
LEAST_STEPS = 50
"""A check weight of fewer steps of the display tells less than 2 %."""


class TypedDesk:
    """Verbs of a rig without a board; each acknowledges only what is on the disk."""

    def __init__(
        self,
        rig: Rig,
        clock: SessionClock,
        occupied: Occupied,
        *,
        progress: Callable[[], SweepProgress | None],
        effort_at: Callable[[float], tuple[float, float] | None],
        accept: Callable[[str, dict[str, Any]], Awaitable[None]],
        keep: Callable[[SensitivityCheck], Awaitable[None]],
    ) -> None:
        """progress: of the sweep shown. effort_at: power and cadence heard at a session time, s. accept: keeps an event
        of this kind and content. keep: keeps a check."""
        self._rig, self._clock, self._occupied = rig, clock, occupied
        self._progress, self._effort_at, self._accept, self._keep = progress, effort_at, accept, keep

    @property
    def progress(self) -> TypedProgress | None:
        """Of the sweep under way, when it is one of typed readings."""
        found = self._progress()
        return found if isinstance(found, TypedProgress) else None

    async def read(self, hands: str, saddle: str | None = None, *, sure: bool = False) -> None:
        """One reading. NotNow, BadValue; Doubted when it looks like a slip and nobody says that it is sure."""
        progress = self.progress
        if progress is None:
            raise NotNow("no sweep of typed readings is set up; begin one first", see="plan")
        if not sure and (what := self._slip(progress, "hands", hands) or self._slip(progress, "saddle", saddle)):
            raise Doubted(f"{what} Type it again, or say that it is so")
        content = {"hands": hands.strip(), "saddle": None if saddle is None else saddle.strip()}
        await self._accept(READING, content)

    async def effort(self, power_w: float, cadence_rpm: float) -> None:
        """Power and cadence of this position, as the trainer shows them. NotNow."""
        await self._accept(EFFORT, {"power_w": power_w, "cadence_rpm": cadence_rpm})

    async def check(
        self, on: ScaleRole, known_kg: float, empty: str, loaded: str, settles_s: float | None = None
    ) -> SensitivityCheck:
        """A known weight where the hands rest, or on the saddle: the display empty and with it, and how long it took to
        stand still. BadValue, NotNow."""
        rig = self._rig
        if rig.typed is None:
            raise NotNow("this rig has a board; check its cells on the bench screen", see="bench")
        self._occupied.refuse("a weight is put on to check the scale", by=("sweep",))
        if on not in {channel.role for channel in rig.channels}:
            raise BadValue(f"on: this rig reads {' and '.join(channel.role for channel in rig.channels)}, got {on}")
        per_unit = self._newtons(on)
        load_n, step_n = known_kg * rig.g_m_s2, rig.typed.step_of(on) * per_unit
        least_kg = math.ceil(10.0 * LEAST_STEPS * step_n / rig.g_m_s2 - 1e-6) / 10.0
        if known_kg < least_kg:
            raise BadValue(f"known_kg: expected {least_kg:g} kg or more on a display of this step, got {known_kg:g}")
        shown_n = (number_of(loaded, "loaded") - number_of(empty, "empty")) * per_unit
        made = SensitivityCheck(
            channel=on,
            checked_utc=utc_now(),
            load_n=load_n,
            u_load_n=0.0025 * load_n,
            shown_n=shown_n,
            expanded_n=math.hypot(SCALE_RELATIVE * load_n, step_n),
            settles_s=settles_s,
            remedy="read it again; if it stays, measure the levers again and correct their ratio in the rig file",
        )
        await self._keep(made)
        return made

    def fields(self) -> dict[str, Any] | None:
        """What the page asks for now; None on a rig with a board."""
        typed = self._rig.typed
        if typed is None:
            return None
        progress, now_s = self.progress, self._clock.now_us() / 1e6
        heard, two = self._effort_at(now_s), bool(self._rig.columns("saddle"))
        moments = () if progress is None else progress.moments_s
        return {
            "unit": typed.unit,
            "step": typed.step,
            "saddle": two,
            "effort": typed.effort,
            "heard": None if heard is None else {"power_w": heard[0], "cadence_rpm": heard[1]},
            "wants_effort": progress is not None and progress.wants_effort,
            "taken": 0 if progress is None else progress.taken,
            "due_in_s": [(moment - now_s) / self._clock.pace for moment in moments],
            "shown": [] if progress is None else self._shown(progress.readings, "hands"),
            "shown_saddle": [] if progress is None or not two else self._shown(progress.readings, "saddle"),
        }

    def _slip(self, progress: TypedProgress, role: ScaleRole, typed: str | None) -> str:
        table = self._rig.typed
        if typed is None or table is None or not self._rig.columns(role):
            return ""
        steps = [self._shown(step.readings, role) for step in progress.steps]
        own = self._shown(progress.readings, role)
        so_far = TypedReadings(
            unit=table.unit,
            before=[one for step in steps for one in step] + own,
            step=own,
            step_before=steps[-1] if steps else (),
            loads_forward=role == "hands",
            newtons_per_unit=self._newtons(role),
        )
        said = blunder(self._as_shown(number_of(typed, role), role), so_far)
        return f"{role}: {said}" if said and self._rig.columns("saddle") else said

    def _shown(self, readings: tuple[Reading, ...], role: ScaleRole) -> list[str]:
        loads_n = [one.hands_n if role == "hands" else one.saddle_n for one in readings]
        return [self._as_shown(load_n / self._newtons(role), role) for load_n in loads_n]

    def _newtons(self, role: ScaleRole) -> float:
        """At the contact, for one unit of this scale's display."""
        table = self._rig.typed
        if table is None:
            return 1.0
        return table.newtons(table.hands_per_scale if role == "hands" else table.saddle_per_scale)

    def _as_shown(self, value: float, role: ScaleRole) -> str:
        """A value as this display writes it."""
        typed = self._rig.typed
        decimals = 0 if typed is None else max(0, math.ceil(-math.log10(typed.step_of(role)) - 1e-9))
        return f"{value:.{decimals}f}"
