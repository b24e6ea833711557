"""The routes of the decision, the printed page and the follow-up."""

from __future__ import annotations

import asyncio
from typing import Any

from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from daq.fit.case import Case, evidence_of
from daq.fit.decision import Decision, FollowUp, last_stage_on
from daq.keep.again.case import case_of
from daq.keep.again.report import printed
from daq.keep.clients import people, visits
from daq.keep.clients.told import Gathered, told_in
from daq.live.session.session import Session
from daq.live.telling import view
from daq.live.telling.days_view import days_of, known_of, scatter_of
from daq.live.telling.deciding import due, earlier_visits, evidence_fields
from daq.live.web.api_confirm import refuse_unconfirmed
from daq.sweep.spreads import SpreadPriors


def add_deciding(app: FastAPI, session: Session) -> None:
    """The routes after a sweep."""
    desk, ask = session.visit, session.acquisition.ask

    async def beside_each_other(visit_id: int, compare: int | None) -> tuple[Case, Case | None]:
        """A visit, and an earlier one of the same client to compare with. ValueError for any other."""
        case = await ask(lambda store: case_of(store, visit_id, desk.ridden))
        if compare is None:
            return case, None
        known = await ask(lambda store: earlier_visits(store, visit_id))
        if compare not in [one["visit_id"] for one in known]:
            raise ValueError(f"compare: expected an earlier visit of this client with a sweep, got {compare}")
        return case, await ask(lambda store: case_of(store, compare, desk.ridden))

    @app.get("/api/v1/visit/evidence")
    async def evidence(setback_mm: float | None = None, compare: int | None = None) -> dict[str, Any]:
        """What today's sweeps say, for the setback the fitter is considering; compare: an earlier visit."""
        visit_id = desk.open_id()
        case, earlier = await beside_each_other(visit_id, compare)
        known = await ask(lambda store: earlier_visits(store, visit_id))
        told = await ask(lambda store: told_in(store, simulated=case.simulated))
        # Beside the event loop: what is measured meanwhile must not wait for it.
        scatter = await asyncio.to_thread(scatter_of, case, told, session.priors)
        foretold = await asyncio.to_thread(days_of, case, told, session.priors)
        found = await asyncio.to_thread(evidence_of, case, setback_mm, earlier, scatter, known_of(foretold))
        return {**await asyncio.to_thread(evidence_fields, case, found, earlier), "earlier": known}

    @app.put("/api/v1/visit/decision")
    async def decision(body: Decision) -> dict[str, Any] | None:
        """The fitter's decision; an earlier one of the visit stays. Re-checked only after its last stage, and not
        without its confirm ride or a reason."""
        await refuse_unconfirmed(session, body)
        present_mm = None if desk.intake is None else desk.intake.saddle.setback_mm
        last_stage = last_stage_on(present_mm, body.setback_mm, people.today())
        if body.recheck_on < last_stage:
            raise ValueError(f"recheck_on: expected {last_stage} or later, when the last stage is ridden")
        await desk.decide(body.model_dump(mode="json"))
        return view.visit_fields(session)

    @app.get("/api/v1/visits/{visit_id}/report", response_class=HTMLResponse)
    async def report(visit_id: int, compare: int | None = None) -> str:
        """The page the client takes home; compare: an earlier visit."""
        case, earlier = await beside_each_other(visit_id, compare)
        told = await ask(lambda store: told_in(store, simulated=case.simulated))
        return await asyncio.to_thread(_sheet, case, earlier, told, session.priors)

    @app.get("/api/v1/follow-ups")
    async def follow_ups() -> list[dict[str, Any]]:
        """Who is due for follow-up, longest due first; those who have answered last."""
        return await ask(due)

    @app.put("/api/v1/visits/{visit_id}/follow-up")
    async def follow_up(visit_id: int, body: FollowUp) -> dict[str, str]:
        """What the client says weeks later."""
        await ask(lambda store: visits.visit(store, visit_id))
        await ask(lambda store: visits.add_note(store, visit_id, "follow-up", body.model_dump()))
        return {"outcome": body.outcome}


def _sheet(case: Case, earlier: Case | None, told: Gathered, priors: SpreadPriors | None) -> str:
    foretold = known_of(days_of(case, told, priors))
    seen = evidence_of(case, earlier=earlier, scatter=scatter_of(case, told, priors), foretold=foretold)
    return printed(case, seen, earlier, foretold)
