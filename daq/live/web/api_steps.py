"""The routes of one finished step: every stroke recorded at it, and which of them were left out and why."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from daq.keep.again.recalibrated import recompute_again
from daq.keep.errors import NotThere
from daq.live.session.session import Session
from daq.live.telling.strokes_view import recalibrated_fields, step_fields


def add_steps(app: FastAPI, session: Session) -> None:
    """Steps are counted from 0."""

    @app.get("/api/v1/sweep/steps/{index}")
    async def step_of_the_ride(index: int) -> dict[str, Any]:
        """A step of the current or last sweep."""
        progress = session.sweep.progress
        return step_fields(() if progress is None else progress.steps, index)

    @app.get("/api/v1/visit/sweeps/{sweep_id}/steps/{index}")
    async def step_of_the_evidence(sweep_id: int, index: int) -> dict[str, Any]:
        """A step of a sweep that the evidence was computed from."""
        ridden = session.visit.ridden.get(sweep_id)
        if ridden is None:
            raise NotThere(f"sweep {sweep_id} is not among those laid side by side")
        return step_fields(ridden.steps, index)

    @app.get("/api/v1/visit/sweeps/{sweep_id}/recalibrated")
    async def recalibrated(sweep_id: int) -> dict[str, Any]:
        """A sweep of the evidence with the loads of the calibration in use now, beside what was ridden; the record
        stays as it is. NotNow while a sweep is ridden: the store has to keep up with it."""
        ridden = session.visit.ridden.get(sweep_id)
        if ridden is None:
            raise NotThere(f"sweep {sweep_id} is not among those laid side by side")
        session.occupied.refuse("a sweep is computed again", by=("sweep",))
        at, used = session.acquisition, session.acquisition.calibration
        again = await at.ask(lambda store: recompute_again(store, sweep_id, calibration=used))
        return recalibrated_fields(ridden, again, used.id)
