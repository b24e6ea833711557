"""What a fitter wants from a sweep, before it is a plan, and what it would cost and give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from daq.fit import expectation
from daq.fit.expectation import Width
from daq.measure.geometry import BAR_FIXED
from daq.sweep.information import USUAL, Sway, best_design
from daq.sweep.order import Order, ordered, spaced, with_repeats, with_sham
from daq.sweep.plan import Protocol

ONE_WAY_CAUTION = (
    "one way: a drift of rider or cells looks like an onset, so none will be named; good for a quick look only"
)
NO_REPEATS_CAUTION = "no place is ridden twice: how far visits scatter, and what drifts, can only be assumed"


class Sketch(BaseModel):
    """Range, order and dwell as a form has them."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    rear_mm: Annotated[float, Field(ge=-100, le=300)]
    front_mm: Annotated[float, Field(ge=-100, le=300)]
    apart_mm: Annotated[float, Field(gt=0, le=100)]
    order: Order = "out and back"
    seed: Annotated[int, Field(ge=0, le=2**31)] = 1
    sham: bool = False
    repeat_middle: bool = True
    repeat_first: bool = True
    settle_s: Annotated[float, Field(ge=0, le=120)] = 6.0
    dwell_s: Annotated[float, Field(ge=3, le=600)] = 25.0
    protocol: Protocol = "reach kept"
    minutes: Annotated[float, Field(ge=1, le=120)] | None = None
    """The time the best plan may take; None: as long as this one takes."""


@dataclass(frozen=True, slots=True)
class BestPlan:
    """The most informative plan for these minutes; without positions if there are too few minutes."""

    sentence: str
    positions_mm: tuple[float, ...]
    dwell_s: float | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A sketch turned into a plan."""

    positions_mm: tuple[float, ...]
    at_most: bool
    """An adaptive plan chooses its positions as it goes: these are its range and the most it may ask for."""
    duration_s: float
    widths: tuple[Width, ...]
    """Of the 95 % interval, for three slopes."""
    scatter: str
    """Whose scatter they were computed with."""
    smallest_n_per_mm: float
    """A rise below it is found in fewer than half of such sweeps."""
    best: BestPlan
    cautions: tuple[str, ...]


def outcome(sketch: Sketch, own: Sway | None = None, usual: Sway = USUAL) -> Outcome:
    """own: this rider's sway, from an earlier sweep; None: that of riders in general. usual: that, as this rig sees it.
    BadPlan if the range cannot be ridden that way.
    """
    wander = usual if own is None else own
    positions, adaptive = _positions(sketch), sketch.order == "adaptive"
    duration_s = expectation.duration_s(len(positions), sketch.settle_s, sketch.dwell_s)
    sd_n = wander.step_sd_n(sketch.dwell_s)
    return Outcome(
        positions_mm=positions,
        at_most=adaptive,
        duration_s=duration_s,
        widths=expectation.widths(len(positions), sd_n),
        scatter=_whose(wander, own is not None),
        smallest_n_per_mm=expectation.smallest_of_plan(positions, sketch.settle_s, sketch.dwell_s, wander),
        best=_best(sketch, duration_s / 60.0 if sketch.minutes is None else sketch.minutes, wander),
        cautions=_cautions(sketch),
    )


def _positions(sketch: Sketch) -> tuple[float, ...]:
    apart = spaced(sketch.rear_mm, sketch.front_mm, sketch.apart_mm)
    positions = ordered(apart, sketch.order, np.random.default_rng(sketch.seed))
    if sketch.order == "adaptive":
        return positions
    if sketch.sham:
        positions = with_sham(positions)
    return with_repeats(positions, middle=sketch.repeat_middle, first=sketch.repeat_first)


def _whose(wander: Sway, own: bool) -> str:
    whose = "this rider's own scatter" if own else "assumed, until this rider's own is known"
    return f"{whose}: {wander.said}"


def _best(sketch: Sketch, minutes: float, wander: Sway) -> BestPlan:
    best = best_design(sketch.rear_mm, sketch.front_mm, minutes, wander)
    sentence = expectation.best_plan_sentence(best, sketch.rear_mm - sketch.front_mm, minutes)
    return BestPlan(sentence, () if best is None else best.positions_mm, None if best is None else best.dwell_s)


def _cautions(sketch: Sketch) -> tuple[str, ...]:
    repeats = sketch.order == "adaptive" or sketch.sham or sketch.repeat_middle or sketch.repeat_first
    said = (
        BAR_FIXED if sketch.protocol == "bar fixed" else "",
        ONE_WAY_CAUTION if sketch.order == "one way" else "",
        "" if repeats else NO_REPEATS_CAUTION,
    )
    return tuple(filter(None, said))
