"""The routes of a proof: a sheet begun or gone on with, what was done, certificates. Each reads, calls, answers."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, ConfigDict, Field

from daq.keep.errors import NotThere
from daq.keep.json_text import plain
from daq.keep.proofs import SUFFIX
from daq.live.bench.proof_page import proof_page
from daq.live.session.proof_desk import ProofDesk, fields
from daq.live.session.session import Session
from daq.proof.certificate import certificate, facts, rig_tables
from daq.proof.proved import Proof, proved
from daq.proof.sheet import DummyParts, Named, Short
from daq.proof.tasks import CAUTION, tasks
from daq.text import Line

Name = Annotated[Line, Field(min_length=1, max_length=255)]
"""Of a sheet's file, as its owner called it; only compared with those that are there."""


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class NewProof(_Body):
    """Who proves the jig, with which dummy."""

    made_by: Named
    place: Short = ""
    placements: Annotated[int, Field(ge=3, le=10)] = 4
    read_s: Annotated[float, Field(ge=1, le=60)] = 3.0
    dummy: DummyParts


class TakeProofUp(_Body):
    """Go on with a sheet that was left."""

    name: Name


class Did(_Body):
    """done: what was asked, with the values asked for; again: the last one once more; leave: go on later."""

    do: Literal["done", "again", "leave"]
    task: Annotated[Line, Field(max_length=80)] | None = None
    """Which one was done, by its id. A page that has not seen the last answer would have it read for the next one."""
    typed: Annotated[dict[Annotated[Line, Field(max_length=40)], float], Field(max_length=4)] = {}


def add_proof(app: FastAPI, session: Session) -> None:
    """The routes around a proof of the jig."""
    desk = session.proving

    def answer() -> dict[str, Any]:
        work = desk.work
        return {"caution": CAUTION, "proof": None if work is None else {**fields(work), **came_of_it(work.proof)}}

    @app.get("/api/v1/proof")
    async def now() -> dict[str, Any]:
        """The proof under way, null without one."""
        return answer()

    @app.post("/api/v1/proof", status_code=201)
    async def begin(body: NewProof) -> dict[str, Any]:
        """Begin one."""
        await desk.begin(
            body.dummy, made_by=body.made_by, place=body.place, placements=body.placements, read_s=body.read_s
        )
        return answer()

    @app.post("/api/v1/proof/resume", status_code=201)
    async def take_up(body: TakeProofUp) -> dict[str, Any]:
        """Go on with one that was left."""
        await desk.take_up(await _path(session, body.name))
        return answer()

    @app.post("/api/v1/proof/steps")
    async def step(body: Did) -> dict[str, Any]:
        """What the engineer did; answers when it is read, which takes some seconds."""
        await _did(desk, body)
        return answer()

    _add_kept(app, session)


async def _did(desk: ProofDesk, body: Did) -> None:
    match body.do:
        case "done":
            await desk.done(body.typed, task_id=body.task)
        case "again":
            desk.again()
        case "leave":
            desk.leave()


def _add_kept(app: FastAPI, session: Session) -> None:
    desk = session.proving

    @app.get("/api/v1/proofs")
    async def kept() -> list[dict[str, Any]]:
        """The sheets begun on the page, newest first."""
        return [
            {
                "name": name,
                "made_by": sheet.made_by,
                "begun_utc": sheet.begun_utc,
                "simulated": sheet.simulated,
                "done": len(sheet.latest()),
                "of": len(tasks(sheet.plan)),
            }
            for name, sheet in (await desk.kept()).items()
        ]

    @app.get("/api/v1/proofs/{name}/certificate", response_class=HTMLResponse)
    async def one(name: Name) -> str:
        """The certificate as a page to print."""
        work = desk.work
        if work is not None and work.path.stem == name and work.proof is not None:
            made = work.proof
        else:
            await _path(session, name)
            made = await asyncio.to_thread(proved, (await desk.kept())[name])
        return proof_page(certificate(made))


async def _path(session: Session, name: str) -> Path:
    """The file of a sheet begun on the page. NotThere."""
    if name not in await session.proving.kept():
        raise NotThere(f"no proof {name} is kept")
    return await session.proving.folder() / f"{name}{SUFFIX}"


def came_of_it(made: Proof | None) -> dict[str, Any]:
    """The result of a proof as the page shows it; None before the last reading."""
    if made is None:
        return {"result": None}
    content = certificate(made)
    return {
        "result": plain(
            {
                "passed": made.passed,
                "valid_until_utc": content["valid_until_utc"],
                "facts": [*content["statements"], *facts(content)],
                "answers": content["answers"],
                "reasons": content["reasons"],
                "figures": content["figures"],
                "tables": rig_tables(made),
            }
        )
    }
