"""A sweep of typed readings in progress: states, plan and order are as with strokes; its steps consist of readings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from daq.physics import crank_torque_nm
from daq.refusals import BadValue, NotNow
from daq.sweep.plan import Plan
from daq.sweep.progress import Notice, SweepProgress
from daq.sweep.run import State, Trigger, after
from daq.sweep.typed.moments import moments_s
from daq.values import NAN, Reading, StepMean

EARLY_S = 1.5
"""A reading may be typed this much before its moment: the hand is quick, the clock of the page a little behind."""


@dataclass(frozen=True, slots=True)
class Display:
    """How readings are taken on one rig."""

    newtons_per_unit: float
    """At the hands, for one unit of the display: unit and lever together."""
    half_n: float
    """Half a step of the display, at the hands."""
    readings: int
    damping_s: float = 0.0
    """Time constant of the slower display."""
    told_damping_s: float = NAN
    """Of the display at the hands, as it was asked for with the known weight; NaN when nobody was asked."""
    saddle_newtons_per_unit: float = 0.0
    """Of the second scale; 0: there is none."""
    effort: str = "typed"
    """The source of power and cadence: typed, sensor, or held (not measured)."""


class TypedProgress(SweepProgress):
    """The memory of a running typed sweep."""

    def __init__(self, plan: Plan, display: Display, **words: Any) -> None:
        """words: those of SweepProgress."""
        super().__init__(plan, **words)
        self.display = display
        self._forget()

    def _start_over(self, t_s: float) -> None:
        super()._start_over(t_s)
        self._forget()

    def _forget(self) -> None:
        self._readings: list[Reading] = []
        self._torques_nm: list[float] = []
        """By a power sensor, at the readings."""
        self._effort_nm = NAN

    def take_damping(self, told_s: Mapping[str, float]) -> None:
        """The time constants of the displays, by role, as found with the known weight."""
        if told_s:
            roles = ("hands", "saddle") if self.display.saddle_newtons_per_unit else ("hands",)
            slower_s = max(told_s.get(role, self.display.damping_s) for role in roles)
            self.display = replace(self.display, damping_s=slower_s, told_damping_s=told_s.get("hands", NAN))

    @property
    def moments_s(self) -> tuple[float, ...]:
        """Session times of this position's readings; empty while the saddle is not there."""
        if self.state not in (State.SETTLING, State.AVERAGING):
            return ()
        seed = f"{self.plan.seed}:{self.ridden}:{round(self._step.from_s * 1e6)}"
        after_s = moments_s(
            seed,
            self.display.readings,
            dwell_s=self.plan.dwell_s,
            settle_s=self.plan.settle_s,
            damping_s=self.display.damping_s,
        )
        return tuple(self._step.from_s + one for one in after_s)

    @property
    def taken(self) -> int:
        """How many readings of this position there are."""
        return len(self._readings)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Readings of this position."""
        return tuple(self._readings)

    @property
    def wants_effort(self) -> bool:
        """Whether power and cadence of this position are still to be typed."""
        return self.display.effort == "typed" and bool(self.moments_s) and math.isnan(self._effort_nm)

    def take_effort(self, content: Mapping[str, Any], t_s: float) -> list[StepMean | Notice]:
        """Power and cadence of this position as typed. NotNow when no position is held."""
        if not self.moments_s:
            raise NotNow(f"power while {self.state}; move the saddle first", see="ride")
        self._effort_nm = crank_torque_nm(float(content["power_w"]), float(content["cadence_rpm"]))
        return self._finish(t_s) if self._complete else []

    def take_reading(
        self, content: Mapping[str, Any], t_s: float, effort: tuple[float, float] | None
    ) -> list[StepMean | Notice]:
        """One reading of the scale as typed; the finished step comes back when this one completes it. effort: power and
        cadence by a sensor, None without one.

        NotNow before its moment, after the last one, and while no position is held; BadValue.
        """
        moments = self.moments_s
        if not moments:
            raise NotNow(f"a reading while {self.state}; move the saddle first", see="ride")
        if self.taken >= len(moments):
            raise NotNow("all readings of this position are taken; type power and cadence")
        if t_s < moments[self.taken] - EARLY_S:
            raise NotNow(f"read at the call, in {moments[self.taken] - t_s:.0f} s: moments of one's own choosing lean")
        display = self.display
        hands_n = number_of(content["hands"], "hands") * display.newtons_per_unit
        saddle = content.get("saddle")
        if bool(display.saddle_newtons_per_unit) != (saddle is not None):
            raise BadValue("saddle: expected a reading of the second scale" if saddle is None else "saddle: no scale")
        saddle_n = NAN if saddle is None else number_of(saddle, "saddle") * display.saddle_newtons_per_unit
        self._readings.append(Reading(t_s, hands_n, display.half_n, saddle_n, display.told_damping_s))
        if effort is not None:
            self._torques_nm.append(crank_torque_nm(*effort))
        if self.state is State.SETTLING:
            self.state = after(self.state, Trigger.STEADY)
        return self._finish(t_s) if self._complete else []

    @property
    def _complete(self) -> bool:
        return self.taken == self.display.readings and not self.wants_effort

    def _ridden_s(self) -> float:
        return self.plan.dwell_s * self.taken / self.display.readings

    def _mean(self, setback_mm: float) -> StepMean:
        return typed_mean(setback_mm, tuple(self._readings), self._torque_nm())

    def _torque_nm(self) -> float:
        if self.display.effort == "sensor":
            enough = 2 * len(self._torques_nm) >= self.display.readings
            return float(np.mean(self._torques_nm)) if enough else NAN
        return self._effort_nm


def typed_mean(setback_mm: float, readings: tuple[Reading, ...], torque_nm: float) -> StepMean:
    """The step these readings make. se_n is NaN: it comes from all steps together (daq.sweep.typed_levels)."""
    return StepMean(
        setback_mm=setback_mm,
        hand_load_n=float(np.mean([one.hands_n for one in readings])),
        se_n=NAN,
        t_min=float(np.mean([one.t_s for one in readings])) / 60.0,
        crank_torque_nm=torque_nm,
        saddle_load_n=float(np.mean([one.saddle_n for one in readings])),
        tilt_deg=NAN,
        readings=readings,
    )


def number_of(typed: Any, what: str) -> float:
    """What was typed as a number; a comma is as good as a point. BadValue."""
    try:
        value = float(str(typed).strip().replace(",", "."))
    except ValueError as error:
        raise BadValue(f"{what}: expected a number as the display shows it, got {typed!r}") from error
    if not -5000.0 < value < 5000.0:
        raise BadValue(f"{what}: expected a reading of a scale, got {typed!r}")
    return value
