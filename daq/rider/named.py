"""Confounds by the names they are asked for with: `sliding`, `lag=60`, `gain=0.8`. Loads nothing of the rider."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Named:
    """One thing a simulated rider or jig can have wrong with it."""

    name: str
    sets: str
    """A field of Confounds, or of RiderModel."""
    usual: float
    """The size without a number; 1 for what is only there or not."""
    unit: str
    """Empty for a share, and for what is only there or not."""
    what: str
    """A sentence for the person who reads of it; {size} stands for the number."""

    @property
    def has_size(self) -> bool:
        return "{size}" in self.what


NAMED = (
    Named("sliding", "slide_behind_mm", 55.0, "mm",
          "the hips stay in space, sliding on the saddle, while it is behind {size} mm"),
    Named("sliding-share", "slide_share", 0.5, "", "sliding hips undo {size} of the saddle's way"),
    Named("bar-fixed", "bar_stays", 1.0, "", "the bar stays where it is: the reach is not kept"),
    Named("lag", "lag_s", 60.0, "s", "posture follows each place with a time constant of {size} s"),
    Named("scatter", "scatter_n", 3.0, "N", "posture and grip differ by {size} N (sd) from visit to visit"),
    Named("placement", "placement_mm", 2.0, "mm", "the saddle stands {size} mm (sd) from where it is said to be"),
    Named("fatigue-late", "fatigue_late_n", 15.0, "N", "fatigue adds {size} N in the second half of the ride"),
    Named("fatigue-linear", "fatigue_linear_n", 15.0, "N", "fatigue adds {size} N over the ride, evenly"),
    Named("fatigue-saturating", "fatigue_saturating_n", 15.0, "N", "fatigue adds {size} N over the ride, most early"),
    Named("expectation", "expectation_n", 12.0, "N",
          "the rider expects to carry more forward of the habitual place, and so carries up to {size} N more"),
    Named("habit", "habit_mm", 60.0, "mm", "the habitual place is {size} mm"),
    Named("blinded", "blinded", 1.0, "", "the rider does not know where the saddle is"),
    Named("grip", "grip_n", 12.0, "N", "from the middle of the sweep on another grip adds {size} N to the right hand"),
    Named("grip-after", "grip_after_s", 15.0, "s", "the grip changes {size} s after the saddle was set up"),
    Named("torque-falls", "torque_falls_nm", 4.0, "N m",
          "crank torque falls by {size} N m from 55 to 30 mm, and no power sensor tells"),
    Named("no-power", "no_power", 1.0, "", "there is no power sensor"),
    Named("frozen", "frozen_hand_place", 6.0, "place", "the right hand's cell freezes at place {size}"),
    Named("frozen-nose", "frozen_nose_place", 6.0, "place", "the saddle's nose cell freezes at place {size}"),
    Named("saturated", "saturated_place", 6.0, "place",
          "the right hand's converter stands at its end from place {size} on"),
    Named("gain", "gain", 0.8, "", "from the middle of the sweep on the right hand's cell shows {size} of its load"),
    Named("swapped", "swapped", 1.0, "", "the plugs of the right hand's and the saddle's rear cell are swapped"),
    Named("swapped-saddle", "swapped_saddle", 1.0, "", "the plugs of the saddle's two cells are swapped"),
    Named("slide-sticks", "slide_sticks_place", 6.0, "place",
          "the sensor of the saddle's slide sticks from place {size} on"),
    Named("slide-jumps", "slide_jumps_place", 6.0, "place",
          "the sensor of the saddle's slide jumps while place {size} is ridden"),
    Named("sway", "sway_n", 5.0, "N", "hand load sways by {size} N (sd)"),
    Named("sway-time", "sway_s", 10.0, "s", "sway is remembered for {size} s"),
    Named("drift", "drift_n_per_min", 1.0, "N/min", "hand load drifts by {size} N a minute"),
    Named("hand-shifts", "hand_shifts_per_min", 1.0, "a minute", "hand shifts come {size} a minute, at random"),
)  # fmt: skip
NAMES = tuple(named.name for named in NAMED)
_BY_NAME = {named.name: named for named in NAMED}


@dataclass(frozen=True, slots=True)
class Asked:
    """One of them in the size asked for."""

    named: Named
    size: float

    @property
    def sentence(self) -> str:
        return self.named.what.format(size=f"{self.size:g}")


def asked_for(words: Iterable[str]) -> tuple[Asked, ...]:
    """What NAME or NAME=SIZE ask for. ValueError for a name there is not, one given twice, or a size that is none."""
    found: dict[str, Asked] = {}
    for word in words:
        name, equals, size = word.partition("=")
        if name not in _BY_NAME:
            raise ValueError(f"no {name!r} to simulate; there are {', '.join(NAMES)}")
        if name in found:
            raise ValueError(f"{name}: asked for twice; give it once")
        named = _BY_NAME[name]
        if equals and not named.has_size:
            raise ValueError(f"{name}: it is there or not and has no size; leave out ={size}")
        found[name] = Asked(named, _size(name, size) if equals else named.usual)
    return tuple(found.values())


def _size(name: str, text: str) -> float:
    try:
        size = float(text)
    except ValueError:
        size = math.nan
    if not math.isfinite(size):
        raise ValueError(f"{name}: expected a number after =, got {text or 'nothing'}")
    return size
