"""A ridden sweep, as the decision needs it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from daq.fit.step_notes import PainTold
from daq.fit.stroke_watch import StepShape
from daq.measure.calibration import Calibration
from daq.sweep.plan import Plan
from daq.values import Onset, StepMean, Verdict

LEVEL_PCT = 2.0
"""From this gradient on it is a climb."""


@dataclass(frozen=True, slots=True)
class Ridden:
    """Plan, steps, answer and remarks."""

    sweep_id: int
    plan: Plan
    state: str
    """How it ended."""
    steps: tuple[StepMean, ...]
    onset: Onset | None
    mass_kg: float | None
    notes: Mapping[int, Mapping[str, float]] = field(default_factory=dict)
    """The rider's scores and the saddle's tilt by step."""
    marks: tuple[str, ...] = ()
    pains: tuple[PainTold, ...] = ()
    losses: tuple[str, ...] = ()
    """What is lost of its raw data, one phrase each with times."""
    calibration: Calibration | None = None
    """The calibration its loads were computed with; None if unknown, then uncertainties are assumed."""
    shapes: tuple[StepShape | None, ...] = ()
    """The shape of the stroke at each step; empty if not analysed."""
    again: tuple[StepMean, ...] = ()
    """Steps of the day's confirm rides: they too say how the jig was set at their positions."""

    @property
    def name(self) -> str:
        """The fitter's name for it, otherwise its gradient."""
        return self.plan.label or ("level" if self.plan.gradient_pct == 0 else f"{self.plan.gradient_pct:g} %")

    def on(self, day: str) -> Ridden:
        """The same sweep with its day in its name."""
        return replace(self, plan=replace(self.plan, label=f"{self.name}, {day}"))

    @property
    def is_level(self) -> bool:
        """Whether it was ridden on the level, more or less."""
        return abs(self.plan.gradient_pct) < LEVEL_PCT

    @property
    def named(self) -> Onset | None:
        """The answer, if it names an onset."""
        return self.onset if self.onset is not None and self.onset.verdict is Verdict.ONSET else None


def looking(sweeps: Sequence[Ridden]) -> tuple[Ridden, ...]:
    """Those that looked for an onset or at a few places: all but the confirm rides."""
    return tuple(one for one in sweeps if one.plan.purpose != "confirm")


def main_sweep(sweeps: tuple[Ridden, ...]) -> Ridden | None:
    """The one a decision rests on: the last level sweep with an onset, otherwise the last level one, otherwise the
    last."""
    sought = [one for one in looking(sweeps) if one.plan.names_onset]
    level = [one for one in sought if one.is_level]
    named = [one for one in level if one.named is not None]
    for candidates in (named, level, sought):
        if candidates:
            return candidates[-1]
    return None


def gradient_sweep(sweeps: tuple[Ridden, ...]) -> Ridden | None:
    """The last sweep on a climb; None when there is none."""
    climbs = [one for one in looking(sweeps) if one.plan.gradient_pct >= LEVEL_PCT]
    return climbs[-1] if climbs else None
