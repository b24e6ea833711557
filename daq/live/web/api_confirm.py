"""The routes of the confirm ride: what is still wanted of it, what it showed, and setting it up."""

from __future__ import annotations

import asyncio
import secrets
from typing import Annotated, Any

from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

from daq.fit.confirming import confirmed, on_what, plan_of, wanted
from daq.fit.decision import Decision
from daq.fit.ridden import Ridden
from daq.keep.again.case import case_of
from daq.live.session.session import Session
from daq.live.telling.deciding import confirm_fields
from daq.live.telling.sweep_view import sweep_status
from daq.refusals import NotNow


class ConfirmRide(BaseModel):
    """Which place is ridden against the present one, and on which gradient."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    setback_mm: Annotated[float, Field(ge=-100, le=300)]
    gradient_pct: Annotated[float, Field(ge=-10, le=20)] = 0.0


def add_confirm(app: FastAPI, session: Session) -> None:
    """The routes between a sweep and its decision."""

    @app.get("/api/v1/visit/confirm")
    async def confirming(setback_mm: float) -> dict[str, Any]:
        """What has to be ridden again before this setback is printed, and what such a ride has shown of it."""
        sweeps, now_mm = await _ridden_today(session), _present_mm(session)
        intake, rig = session.visit.intake, session.acquisition.rig
        bicycle = None if intake is None else intake.bicycle
        # Beside the event loop: what is measured meanwhile must not wait for it.
        found = await asyncio.to_thread(
            lambda: confirmed(sweeps, rig, bicycle, present_mm=now_mm, chosen_mm=setback_mm)
        )
        return confirm_fields(wanted(sweeps, now_mm, setback_mm), found)

    @app.post("/api/v1/visit/confirm", status_code=201)
    async def confirm(body: ConfirmRide) -> dict[str, Any]:
        """Set up the ride of this setback against the present one; which comes first is drawn by lot."""
        now_mm = _present_mm(session)
        if now_mm is None:
            raise NotNow(
                "where the client's saddle stands today is not in the intake; see the client screen", see="client"
            )
        first = bool(secrets.randbelow(2))
        sweeps = await _ridden_today(session)
        await session.sweep.begin(plan_of(sweeps, body.gradient_pct, now_mm, body.setback_mm, chosen_first=first))
        return sweep_status(session)


async def refuse_unconfirmed(session: Session, decision: Decision) -> None:
    """ValueError where the decided setback was not ridden against the present one and no reason says why."""
    if decision.not_confirmed.strip():
        return
    asked = wanted(await _ridden_today(session), _present_mm(session), decision.setback_mm)
    left = " and ".join(on_what(one.gradient_pct) for one in asked if not one.done)
    if left:
        raise ValueError(
            f"not_confirmed: {decision.setback_mm:g} mm was not ridden against the present place {left}; ride it, or "
            "give the reason"
        )


def _present_mm(session: Session) -> float | None:
    intake = session.visit.intake
    return None if intake is None else intake.saddle.setback_mm


async def _ridden_today(session: Session) -> tuple[Ridden, ...]:
    visit_id = session.visit.open_id()
    if session.visit.intake is None:
        return ()
    case = await session.acquisition.ask(lambda store: case_of(store, visit_id, session.visit.ridden))
    return case.sweeps
