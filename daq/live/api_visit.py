"""The routes of a visit: client, intake, checks, decision, report, follow-up. Each reads, calls, answers."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

from daq.fit.intake import RED_FLAGS, Intake
from daq.fit.prechecks import Measured
from daq.keep import people, visits
from daq.keep.store import Store
from daq.live.session import Session


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class NewClient(_Body):
    """A client to be known by a pseudonym. The name is kept apart and never sent to a sweep, a stream or an export."""

    name: Annotated[str, Field(max_length=200)] | None = None
    service: bool
    research: bool = False
    images: bool = False


class Opening(_Body):
    """Whose visit begins."""

    pseudonym: Annotated[str, Field(min_length=1, max_length=20)]


class Override(_Body):
    """Why the fitter goes on without a check."""

    check: Annotated[str, Field(max_length=40)]
    reason: Annotated[str, Field(min_length=3, max_length=500)]


def add_visit(app: FastAPI, session: Session) -> None:
    """The routes around one client."""
    desk = session.desk

    @app.get("/api/v1/clients")
    async def clients() -> list[dict[str, Any]]:
        """Everybody known here, the name beside the pseudonym: for the fitter's own screen only."""
        return await desk.ask(_known)

    @app.post("/api/v1/clients", status_code=201)
    async def new_client(body: NewClient) -> dict[str, Any]:
        """A new client; the visit begins at once. Without consent to the fitting nothing may be kept."""
        if not body.service:
            raise ValueError("service: without the client's consent to the fitting nothing may be recorded")
        made = await desk.new_client(
            name=body.name,
            consents={"service": body.service, "research": body.research, "images": body.images},
        )
        await desk.open(made.pseudonym)
        return {"pseudonym": made.pseudonym}

    @app.post("/api/v1/visit", status_code=201)
    async def open_visit(body: Opening) -> dict[str, Any] | None:
        """Begin the visit of a client who is known; it starts from the last intake."""
        await desk.open(body.pseudonym)
        return desk.fields()

    @app.get("/api/v1/visit")
    async def visit() -> dict[str, Any]:
        """The open visit, null without one, and the questions asked of every client."""
        return {"visit": desk.fields(), "red_flags": RED_FLAGS}

    @app.put("/api/v1/visit/intake")
    async def intake(body: Intake) -> dict[str, Any] | None:
        """Today's intake."""
        await desk.take_intake(body)
        return desk.fields()

    @app.put("/api/v1/visit/measured")
    async def measured(body: Measured) -> dict[str, Any] | None:
        """What was measured and set on the jig."""
        await desk.take_measured(body)
        return desk.fields()

    @app.post("/api/v1/visit/overrides", status_code=201)
    async def override(body: Override) -> dict[str, Any] | None:
        """Go on without a check; the reason is kept and printed."""
        await desk.override(body.check, body.reason)
        return desk.fields()


def _known(store: Store) -> list[dict[str, Any]]:
    return [
        {
            "pseudonym": one.pseudonym,
            "name": people.name_of(store, one.id),
            "since_utc": one.since_utc,
            "visits": len(visits.visits(store, one.id)),
        }
        for one in reversed(people.clients(store))
    ]
