"""The plan of a sweep: which setbacks, in which order, for how long, and at what effort."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from daq.physics import crank_torque_nm
from daq.sweep.places import SAME_PLACE_MM, places

Protocol = Literal["reach kept", "bar fixed"]
HeightPolicy = Literal["leg extension kept", "height kept"]
BarHeightPolicy = Literal["drop kept", "bar height kept"]
Purpose = Literal["onset", "confirm", "check"]
"""onset: where hand load begins to rise. confirm: two places ridden by turns and compared. check: a few places looked
at, as on a climb. Only the first ever names an onset."""

ChanceOf = Literal["today", "another day"]

FEWEST_POSITIONS = 5
"""With fewer, neither the level part nor the rise has enough points to tell them apart."""
FEWEST: dict[Purpose, int] = {"onset": FEWEST_POSITIONS, "confirm": 2, "check": 2}
MOST_POSITIONS = 60
MOVING_S = 20.0
"""Moving the saddle and tightening it. Common practice, no source."""

MOST_SEED = 2**53
"""Beyond it, JSON does not say what a whole number is everywhere (RFC 8259, 6), and no file of ours takes it."""


class BadPlan(ValueError):
    """The plan cannot be ridden; the text says which value and what was expected."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What rider and fitter have to do. Setbacks are in the order in which they are visited."""

    positions_mm: tuple[float, ...]
    settle_s: float = 6.0
    """Shortest wait after a move; the first 5-8 s of a position are never averaged (measured by simulation)."""
    dwell_s: float = 25.0
    """Riding time inside the bands that one position needs."""
    power_w: float = 200.0
    cadence_rpm: float = 90.0
    torque_band_nm: float = 0.5
    """Half width. 1 N m moves hand load as far as 7-14 mm of setback, so the dwell clock runs only inside it."""
    cadence_band_rpm: float = 5.0
    gradient_pct: float = 0.0
    protocol: Protocol = "reach kept"
    step_off_mm: float = 4.0
    """The minimum distance behind the onset at which the saddle is finally set. Common practice, no source."""
    loaded_chance: float = 0.05
    """The largest accepted probability that the hands already carry more at the suggested setback."""
    chance_of: ChanceOf = "today"
    """On which day that is: today, as ridden, or another day, which only all tests together can say."""
    label: str = ""
    """The fitter's name for this sweep: before, after, saddle A."""
    order: str = "out and back"
    seed: int | None = None
    """Of a shuffled order, so that it can be drawn again."""
    blinded: bool = False
    """The rider sees neither loads nor setback."""
    height_policy: HeightPolicy = "leg extension kept"
    bar_height_policy: BarHeightPolicy = "drop kept"
    """Where the reach is kept: whether the bar goes up and down with the saddle too. With the leg's extension kept the
    saddle goes 13 to 15 mm up over 50 mm of coming forward, and a drop that grows with it moves load by itself."""
    start_setback_mm: float | None = None
    start_height_mm: float | None = None
    """BB to saddle top along the seat tube at start_setback_mm: the reference for height corrections."""
    purpose: Purpose = "onset"

    def __post_init__(self) -> None:
        for name, low, high in LIMITS:
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise BadPlan(f"{name}: expected {low:g} to {high:g}, got {value:g}")
        if self.seed is not None and not 0 <= self.seed <= MOST_SEED:
            raise BadPlan(f"seed: expected 0 to {MOST_SEED}, got {self.seed}")
        if not all(math.isfinite(x) and -100.0 <= x <= 300.0 for x in self.positions_mm):
            raise BadPlan("positions_mm: expected millimetres behind the BB between -100 and 300")
        fewest = FEWEST[self.purpose]
        if not fewest <= len(self.positions_mm) <= MOST_POSITIONS:
            raise BadPlan(f"positions_mm: expected {fewest} to {MOST_POSITIONS} setbacks, got {len(self.positions_mm)}")
        apart = len(places(np.array(self.positions_mm)))
        if self.purpose == "confirm" and apart != fewest:
            raise BadPlan(f"positions_mm: expected two different setbacks by turns, got {apart}")
        if self.adaptive and not self.names_onset:
            raise BadPlan("order: an adaptive plan looks for an onset; this one names none")
        if apart < fewest:
            raise BadPlan(f"positions_mm: expected {fewest} or more different setbacks, {SAME_PLACE_MM:g} mm apart")

    @property
    def names_onset(self) -> bool:
        """Whether an onset is looked for at all."""
        return self.purpose == "onset"

    @property
    def adaptive(self) -> bool:
        """Whether each position is chosen from the steps before it; positions_mm then gives range and most steps."""
        return self.order == "adaptive"

    @property
    def reference_setback_mm(self) -> float:
        """The setback at which the jig is as rig file and start say: the bar's moves are relative to it."""
        return float(np.mean(self.positions_mm)) if self.start_setback_mm is None else self.start_setback_mm

    @property
    def drop(self) -> BarHeightPolicy:
        """What the heights of saddle and bar make of the drop: a bar that is fixed keeps its height, and where the
        saddle keeps its own, the drop stays in any case."""
        goes_along = self.protocol == "reach kept" and self.bar_height_policy == "drop kept"
        return "drop kept" if goes_along or self.height_policy == "height kept" else "bar height kept"

    @property
    def torque_nm(self) -> float:
        """The crank torque at the plan's power and cadence."""
        return crank_torque_nm(self.power_w, self.cadence_rpm)

    @property
    def power_band_w(self) -> tuple[float, float]:
        """The power band equivalent to the torque band at the plan's cadence."""
        half_w = self.power_w * self.torque_band_nm / self.torque_nm
        return self.power_w - half_w, self.power_w + half_w


LIMITS = (
    ("settle_s", 0.0, 120.0),
    ("dwell_s", 3.0, 600.0),
    ("power_w", 20.0, 600.0),
    ("cadence_rpm", 40.0, 130.0),
    ("torque_band_nm", 0.1, 10.0),
    ("cadence_band_rpm", 1.0, 30.0),
    ("gradient_pct", -10.0, 20.0),
    ("step_off_mm", 0.0, 20.0),
    ("loaded_chance", 0.001, 0.5),
)


def out_and_back(rear_mm: float, front_mm: float, count: int) -> tuple[float, ...]:
    """count evenly spaced setbacks: every second one coming forward, the others going back.

    A drift with time then bends the two passes in opposite directions and cannot pass for an onset, as it can in one
    pass (science: a single pass with a saturating drift shows an onset in 28 % of flat riders).
    """
    if count < FEWEST_POSITIONS:
        raise BadPlan(f"count: expected at least {FEWEST_POSITIONS} positions, got {count}")
    return interleaved([round(rear_mm + (front_mm - rear_mm) * i / (count - 1), 3) for i in range(count)])


def interleaved(spaced_mm: Sequence[float]) -> tuple[float, ...]:
    """Every second of these setbacks in their order, then the others the other way round."""
    return (*spaced_mm[::2], *spaced_mm[1::2][::-1])
