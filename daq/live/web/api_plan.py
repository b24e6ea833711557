"""The route of a plan: what it would be, before it is set."""

from __future__ import annotations

import asyncio
from typing import Any

from fastapi import FastAPI

from daq.fit.expectation import wander_of
from daq.fit.outcome import outcome
from daq.fit.sensor_costs import costs_of, scatter_of
from daq.fit.sketch import Sketch
from daq.keep.json_text import plain
from daq.live.session.calibration_desk import damping_of
from daq.live.session.readings import measures
from daq.live.session.session import Session
from daq.sweep.information import Sway


def add_plan(app: FastAPI, session: Session) -> None:
    """The route that turns a sketch into positions and says what they will cost and give."""

    def own() -> Sway | None:
        """The rider's scatter, from the last sweep of this visit that shows it."""
        known = (wander_of(ridden.steps) for ridden in reversed(session.visit.ridden.values()))
        return next(filter(None, known), None)

    @app.post("/api/v1/plan")
    async def plan(body: Sketch) -> dict[str, Any]:
        """Positions in order, minutes, the width of the interval to expect, the best plan. Nothing is set."""
        at, told = session.acquisition, damping_of(session.calibrating.checks).get("damping_s", {})
        usual = scatter_of(at.rig, told.get("hands"))
        found: dict[str, Any] = plain(await asyncio.to_thread(lambda: outcome(body, own(), usual)))
        heard = "effort" in measures(at)
        costs = await asyncio.to_thread(costs_of, at.rig, heard=heard, damping_s=told.get("hands"))
        found["cautions"] += [cost.sentence for cost in costs]
        return found
