"""The routes of a rig whose scale a person reads."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from fastapi import FastAPI
from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from daq.live.session.session import Session
from daq.text import Line

_SHOWN = re.compile(r"\s*-?[0-9]{1,4}([.,][0-9]{1,3})?\s*", re.ASCII)


def _as_shown(typed: str) -> str:
    """ValueError for what no display of a scale shows."""
    if not _SHOWN.fullmatch(typed):
        raise ValueError("expected a number as the display shows it, such as 12.5")
    return typed


Shown = Annotated[Line, Field(max_length=40), AfterValidator(_as_shown)]
"""As the display shows it."""


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class TypedReading(_Body):
    """What the display shows at the call."""

    hands: Shown
    saddle: Shown | None = None
    sure: bool = False
    """It is so, though it looks like a slip."""


class TypedEffort(_Body):
    """What the trainer shows."""

    power_w: Annotated[float, Field(ge=0, le=2000)]
    cadence_rpm: Annotated[float, Field(gt=0, le=250)]


class KnownWeight(_Body):
    """The display without and with a known weight."""

    on: Literal["hands", "saddle"] = "hands"
    known_kg: Annotated[float, Field(gt=0, le=150)]
    empty: Shown
    loaded: Shown
    settles_s: Annotated[float, Field(ge=0, le=50)] | None = None
    """How long the display took to stand still; 0 where it swings with the pedals."""


def add_typed(app: FastAPI, session: Session) -> None:
    """All of them."""

    @app.post("/api/v1/typed/readings", status_code=204)
    async def reading(body: TypedReading) -> None:
        """One reading. 422 names what looks like a slip; with `sure` it is taken as it is."""
        await session.typed.read(body.hands, body.saddle, sure=body.sure)

    @app.post("/api/v1/typed/effort", status_code=204)
    async def effort(body: TypedEffort) -> None:
        """Power and cadence of this position."""
        await session.typed.effort(body.power_w, body.cadence_rpm)

    @app.post("/api/v1/typed/check")
    async def check(body: KnownWeight) -> dict[str, Any]:
        """The daily check of the scale, kept whatever it says."""
        made = await session.typed.check(body.on, body.known_kg, body.empty, body.loaded, body.settles_s)
        return {"passed": made.passed, "sentence": made.sentence}
