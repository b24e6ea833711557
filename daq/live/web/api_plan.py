"""The routes of a plan: what it would be, before it is set."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

from daq.fit import expectation
from daq.keep.json_text import plain
from daq.measure.geometry import BAR_FIXED
from daq.sweep.order import Order, ordered, spaced, with_first_again, with_sham
from daq.sweep.plan import Protocol

ONE_WAY_CAUTION = "one way: a drift of rider or cells looks like an onset; good for a quick look only"


class Sketch(BaseModel):
    """What a fitter wants of a sweep, before it is a plan."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    rear_mm: Annotated[float, Field(ge=-100, le=300)]
    front_mm: Annotated[float, Field(ge=-100, le=300)]
    apart_mm: Annotated[float, Field(gt=0, le=100)]
    order: Order = "out and back"
    seed: Annotated[int, Field(ge=0, le=2**31)] = 1
    sham: bool = False
    repeat_first: bool = True
    settle_s: Annotated[float, Field(ge=0, le=120)] = 6.0
    dwell_s: Annotated[float, Field(ge=3, le=600)] = 25.0
    protocol: Protocol = "reach kept"


def add_plan(app: FastAPI) -> None:
    """The route that turns a sketch into positions and says what they will cost and give."""

    @app.post("/api/v1/plan")
    async def plan(body: Sketch) -> dict[str, Any]:
        """Positions in order, minutes, and the width of the interval to expect. Nothing is set."""
        positions = ordered(
            spaced(body.rear_mm, body.front_mm, body.apart_mm), body.order, np.random.default_rng(body.seed)
        )
        adaptive = body.order == "adaptive"
        if body.sham and not adaptive:
            positions = with_sham(positions)
        if body.repeat_first and not adaptive:
            positions = with_first_again(positions)
        cautions = [BAR_FIXED] if body.protocol == "bar fixed" else []
        cautions += [ONE_WAY_CAUTION] if body.order == "one way" else []
        found = expectation.widths(len(positions), expectation.step_sd_n(body.dwell_s))
        return {
            "positions_mm": positions,
            "at_most": adaptive,
            "duration_s": expectation.duration_s(len(positions), body.settle_s, body.dwell_s),
            "widths": plain(found),
            "cautions": cautions,
        }
