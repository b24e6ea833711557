"""What a sketched sweep would cost and give."""

from __future__ import annotations

from dataclasses import dataclass

from daq.fit import expectation
from daq.fit.best_plan import BestPlan, best_plan, bound_n
from daq.fit.expectation import Width
from daq.fit.sketch import Sketch, positions_of
from daq.measure.geometry import BAR_FIXED
from daq.sweep.information import USUAL, Sway

ONE_WAY_CAUTION = (
    "one way: a drift of rider or cells looks like an onset, so none will be named; good for a quick look only"
)
NO_REPEATS_CAUTION = "no place is ridden twice: how far visits scatter, and what drifts, can only be assumed"


@dataclass(frozen=True, slots=True)
class Outcome:
    """A sketch turned into a plan."""

    positions_mm: tuple[float, ...]
    at_most: bool
    """An adaptive plan chooses its positions as it goes: these are its range and the most it may ask for."""
    duration_s: float
    widths: tuple[Width, ...]
    """Of the 95 % interval, for three slopes; none where no onset is ever named."""
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
    positions_mm, one_way = positions_of(sketch), sketch.order == "one way"
    told = bound_n(sketch, wander), sketch.rear_mm - sketch.front_mm, len(positions_mm)
    duration_s = expectation.duration_s(len(positions_mm), sketch.settle_s, sketch.dwell_s)
    return Outcome(
        positions_mm=positions_mm,
        at_most=sketch.order == "adaptive",
        duration_s=duration_s,
        widths=() if one_way else expectation.widths(*told),
        scatter=_whose(wander, own is not None),
        smallest_n_per_mm=expectation.smallest_slope(*told),
        best=best_plan(sketch, duration_s / 60.0 if sketch.minutes is None else sketch.minutes, wander),
        cautions=_cautions(sketch),
    )


def _whose(wander: Sway, own: bool) -> str:
    whose = "this rider's own scatter" if own else "assumed, until this rider's own is known"
    return f"{whose}: {wander.said}"


def _cautions(sketch: Sketch) -> tuple[str, ...]:
    repeats = sketch.order == "adaptive" or sketch.sham or sketch.repeat_middle or sketch.repeat_first
    said = (
        BAR_FIXED if sketch.protocol == "bar fixed" else "",
        ONE_WAY_CAUTION if sketch.order == "one way" else "",
        "" if repeats else NO_REPEATS_CAUTION,
    )
    return tuple(filter(None, said))
