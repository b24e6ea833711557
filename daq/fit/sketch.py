"""What a fitter wants from a sweep, before it is a plan."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from daq.sweep.order import Order, ordered, spaced, with_repeats
from daq.sweep.plan import Protocol


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


def positions_of(sketch: Sketch) -> tuple[float, ...]:
    """Its setbacks in order. BadPlan if the range cannot be ridden that way."""
    apart = spaced(sketch.rear_mm, sketch.front_mm, sketch.apart_mm)
    positions = ordered(apart, sketch.order, np.random.default_rng(sketch.seed), sham=sketch.sham)
    if sketch.order == "adaptive":
        return positions
    return with_repeats(positions, middle=sketch.repeat_middle, first=sketch.repeat_first)
