"""The routes for what tests say beyond today: another day of this client, the one before, the workshop's repeats."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI

from daq.fit.repeat import as_wish
from daq.keep.again.case import case_of
from daq.keep.again.repeating import repeats_in
from daq.keep.clients.told import told_in
from daq.live.session.session import Session
from daq.live.telling.days_view import days_fields, days_of, workshop_fields
from daq.live.telling.deciding import decided_before
from daq.sweep.plan import Plan


def add_days(app: FastAPI, session: Session) -> None:
    """Both are computed off the event loop: measurement must not wait for them."""
    desk, ask = session.visit, session.acquisition.ask

    @app.get("/api/v1/visit/days")
    async def visit_days() -> dict[str, Any]:
        """What the client's tests say about another day, a change since an earlier test, and what would help most."""
        visit_id = desk.open_id()
        case = await ask(lambda store: case_of(store, visit_id, desk.ridden))
        told = await ask(lambda store: told_in(store, simulated=case.simulated))
        return await asyncio.to_thread(lambda: days_fields(days_of(case, told, session.priors)))

    @app.get("/api/v1/visit/before")
    async def before() -> dict[str, Any]:
        """The sweep the client's last decision rests on, to be drawn behind today's; null on a first visit."""
        visit_id = desk.open_id()
        return {"before": await ask(lambda store: decided_before(store, visit_id, desk.ridden))}

    @app.get("/api/v1/panel")
    async def panel() -> Mapping[str, Any]:
        """How far onsets scatter between days and sweeps, from this workshop's repeats."""
        simulated = session.acquisition.simulated
        told = await ask(lambda store: told_in(store, simulated=simulated))
        fields = await asyncio.to_thread(lambda: workshop_fields(told, session.priors))
        clients = [one["client"] for one in fields["who"]]
        plans = await ask(lambda store: repeats_in(store, told.tests, clients))
        return {**fields, "who": [{**one, "wish": _wish(plans.get(one["client"]))} for one in fields["who"]]}


def _wish(plan: Plan | None) -> dict[str, Any] | None:
    return None if plan is None else as_wish(plan)
