"""The routes for one client who was entered twice: what joining two records would change, joining them, parting them.
What was recorded is the same before and after."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import FastAPI
from pydantic import BaseModel, ConfigDict, Field

from daq import text
from daq.keep.clients.join_words import joining_said, parted_said
from daq.keep.clients.joining import join, joining, part
from daq.live.session.session import Session

Pseudonym = Annotated[text.Line, Field(min_length=1, max_length=20)]


class Same(BaseModel):
    """The other record of the client."""

    model_config = ConfigDict(extra="forbid")

    other: Pseudonym


def add_same_client(app: FastAPI, session: Session) -> None:
    """For the fitter alone."""
    desk, ask = session.visit, session.acquisition.ask

    @app.get("/api/v1/clients/{pseudonym}/joined/{other}")
    async def would_change(pseudonym: str, other: str) -> dict[str, Any]:
        """What joining `other` with this client would change."""
        return {"said": await ask(lambda store: joining_said(joining(store, pseudonym, other)))}

    @app.post("/api/v1/clients/{pseudonym}/joined", status_code=201)
    async def joined(pseudonym: str, body: Same) -> dict[str, Any]:
        """`other` is this client too: visits and sweeps of both are one client's from now on."""
        return {"said": joining_said(await desk.change_records(lambda store: join(store, pseudonym, body.other)))}

    @app.delete("/api/v1/clients/{other}/joined")
    async def parted(other: str) -> dict[str, Any]:
        """They are two clients after all: `other` has again what was its own."""
        return {"said": parted_said(await desk.change_records(lambda store: part(store, other)))}
