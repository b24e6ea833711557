"""The routes of a visit: client, intake, checks, decision, report, follow-up. Each reads, calls, answers."""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

from daq import text
from daq.fit.intake import RED_FLAGS, BegunIntake
from daq.fit.prechecks import Measured
from daq.keep.clients import people, visits
from daq.keep.clients.copies import exports_noted, exports_of
from daq.keep.store import Store
from daq.live.session.session import Session
from daq.live.session.visit_desk import usual_keep_until
from daq.live.telling import view


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class NewClient(_Body):
    """A client to be known by a pseudonym. The name is stored separately and never sent to a sweep, a stream or an
    export."""

    name: Annotated[text.Line, Field(max_length=200)] | None = None
    service: bool
    research: bool = False
    images: bool = False
    keep_until: datetime.date | None = None
    """Until when the records are kept; default: the usual time."""


class Agreement(_Body):
    """What the client agrees to now, and until when the records are kept; None: no date."""

    service: bool
    research: bool
    images: bool
    keep_until: datetime.date | None


class Opening(_Body):
    """Whose visit begins."""

    pseudonym: Annotated[text.Line, Field(min_length=1, max_length=20)]


class Override(_Body):
    """Why the fitter goes on without a check."""

    check: Annotated[text.Line, Field(max_length=40)]
    reason: Annotated[text.Lines, Field(min_length=3, max_length=500)]


def add_visit(app: FastAPI, session: Session) -> None:
    """The routes around one client."""
    _add_clients(app, session)
    _add_open_visit(app, session)


def _add_clients(app: FastAPI, session: Session) -> None:
    desk, ask = session.visit, session.acquisition.ask

    @app.get("/api/v1/clients")
    async def clients() -> list[dict[str, Any]]:
        """Everybody on record here, with name and pseudonym: for the fitter's own screen only."""
        return await ask(_known)

    @app.post("/api/v1/clients", status_code=201)
    async def new_client(body: NewClient) -> dict[str, Any]:
        """A new client; the visit begins at once. Without consent to the fitting nothing may be kept."""
        if not body.service:
            raise ValueError("service: without the client's consent to the fitting nothing may be recorded")
        made = await desk.new_client(
            name=body.name,
            consents={"service": body.service, "research": body.research, "images": body.images},
            keep_until=body.keep_until,
        )
        await desk.open(made.pseudonym)
        return {"pseudonym": made.pseudonym}

    @app.put("/api/v1/clients/{pseudonym}/agreement")
    async def agreement(pseudonym: str, body: Agreement) -> dict[str, Any]:
        """Record what was agreed to; earlier answers stay in the records. Nothing is deleted automatically: `exports`
        lists those already made of this client's sweeps, including in backups once consent to research is withdrawn,
        `unread` the backups that cannot be read for that."""

        def keep(store: Store) -> dict[str, Any]:
            client = people.client_called(store, pseudonym)
            before = people.consents(store, client.id)
            said = {"service": body.service, "research": body.research, "images": body.images}
            for kind, given in before.items():
                if said[kind] != given:
                    people.set_consent(store, client.id, kind, said[kind])
            people.set_keep_until(store, client.id, body.keep_until)
            known = _known_one(store, people.client(store, client.id))
            if before["research"] and not body.research:
                made = exports_of(store, client)
                known["exports"] = [str(copy.path) for copy in made if not copy.unread]
                known["unread"] = [str(copy.path) for copy in made if copy.unread]
            return known

        return await ask(keep)


def _add_open_visit(app: FastAPI, session: Session) -> None:
    desk = session.visit

    @app.post("/api/v1/visit", status_code=201)
    async def open_visit(body: Opening) -> dict[str, Any] | None:
        """Begin the visit of a known client; it starts from the last intake."""
        await desk.open(body.pseudonym)
        return view.visit_fields(session)

    @app.get("/api/v1/visit")
    async def visit() -> dict[str, Any]:
        """The open visit, null without one, the questions asked of every client, and how long records are kept."""
        return {
            "visit": view.visit_fields(session),
            "red_flags": RED_FLAGS,
            "keep_until": usual_keep_until().isoformat(),
        }

    @app.put("/api/v1/visit/intake")
    async def intake(body: BegunIntake, confirmed: bool = True) -> dict[str, Any] | None:
        """Today's intake, as far as it is typed. confirmed: gone through with a client who was here before."""
        await desk.take_intake(body, confirmed=confirmed)
        return view.visit_fields(session)

    @app.patch("/api/v1/visit/measured")
    async def measured(body: Measured) -> dict[str, Any] | None:
        """What was measured and set on the jig: what the body leaves out stays as it was."""
        await desk.take_measured(body)
        return view.visit_fields(session)

    @app.post("/api/v1/visit/overrides", status_code=201)
    async def override(body: Override) -> dict[str, Any] | None:
        """Go on without a check; the reason is kept and printed."""
        await desk.override(body.check, body.reason)
        return view.visit_fields(session)


def _known(store: Store) -> list[dict[str, Any]]:
    return [_known_one(store, one) for one in reversed(people.clients(store))]


def _known_one(store: Store, one: people.Client) -> dict[str, Any]:
    return {
        "pseudonym": one.pseudonym,
        "name": people.name_of(store, one.id),
        "since_utc": one.since_utc,
        "keep_until": one.keep_until,
        "overdue": one.keep_until is not None and one.keep_until < people.today().isoformat(),
        "consents": people.consents(store, one.id),
        "visits": len(visits.visits(store, one.id)),
        "also": [each.pseudonym for each in people.records_of(store, one.id)[1:]],
        "exports": [str(copy.path) for copy in exports_noted(store, one)],
    }
