"""The routes of the bench: guided calibration, daily check, calibrations kept. Each reads, calls, answers."""

from __future__ import annotations

import enum
from typing import Annotated, Any

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, ConfigDict, Field

from daq.keep.json_text import plain
from daq.keep.store import Store, calibrations
from daq.live.bench.certificate_page import certificate_page
from daq.live.bench.desk import BenchDesk
from daq.live.bench.summaries import summaries
from daq.live.bench.wanted import Gravity, Reference, Wanted
from daq.live.session.session import Session
from daq.live.telling import view
from daq.measure.calibration import to_dict
from daq.measure.calibration.weights import pull_n
from daq.text import Line

Name = Annotated[Line, Field(min_length=1, max_length=60)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Do(enum.StrEnum):
    """What the engineer does at the bench."""

    READ = "read"
    BREAK_OFF = "break-off"
    ACCEPT = "accept"
    REDO = "redo"
    REDO_SERIES = "redo-series"
    SKIP = "skip"
    STOP = "stop"
    LEAVE = "leave"


class Doing(_Body):
    """One thing done. redo: the reading named, or the last one; redo-series: of this cell."""

    do: Do
    task: Annotated[Line, Field(max_length=80)] | None = None
    cell: Annotated[Line, Field(max_length=40)] | None = None
    series: Annotated[int, Field(ge=1, le=10)] | None = None


class TakeUp(_Body):
    """Go on where it was left."""

    on_for_min: Annotated[float, Field(ge=0, le=1440)] = 0.0


class WeightOn(_Body):
    """The daily check: the jig was zeroed empty, now this weight is on."""

    on: Name
    mass_kg: Annotated[float, Field(gt=0, le=500)]
    reference: Reference
    gravity: Gravity = Gravity()


class Use(_Body):
    """A calibration of the store, by id or number."""

    name: Name


def add_bench(app: FastAPI, session: Session) -> None:
    """The routes around the calibration of the cells."""
    desk = session.calibrating

    @app.get("/api/v1/bench")
    async def bench() -> dict[str, Any]:
        """The guided calibration in progress, null without one; and the status of the calibration in use."""
        return {"bench": plain(view.bench_fields(session)), "calibration": view.calibration_fields(session)}

    @app.post("/api/v1/bench", status_code=201)
    async def begin(body: Wanted) -> dict[str, Any]:
        """Begin a guided calibration."""
        return _fields(await desk.begin_bench(body))

    @app.post("/api/v1/bench/resume", status_code=201)
    async def take_up(body: TakeUp) -> dict[str, Any]:
        """Resume the unfinished one."""
        return _fields(await desk.take_up_bench(on_for_min=body.on_for_min))

    @app.post("/api/v1/bench/steps")
    async def step(body: Doing) -> dict[str, Any] | None:
        """What the engineer did."""
        if body.do is Do.LEAVE:
            desk.leave_bench()
            return None
        await _done(desk.under_way(), body)
        return _fields(desk.under_way())

    @app.post("/api/v1/bench/checks", status_code=201)
    async def check(body: WeightOn) -> dict[str, Any]:
        """Check the sensitivity with one weight; the result is stored, passed or failed."""
        g_m_s2, u_g_m_s2 = body.gravity.value(session.acquisition.rig)
        made = await desk.check(
            on=body.on,
            load_n=pull_n(body.mass_kg, g_m_s2),
            weights=body.reference.weights(),
            u_gravity_relative=u_g_m_s2 / g_m_s2,
        )
        return {**plain(made), "passed": made.passed, "sentence": made.sentence}

    _add_kept(app, session)


def _add_kept(app: FastAPI, session: Session) -> None:
    @app.get("/api/v1/calibrations")
    async def kept() -> list[dict[str, Any]]:
        """All calibrations in the store, newest first."""
        return (await session.acquisition.ask(summaries))[::-1]

    @app.get("/api/v1/calibrations/{name}")
    async def one(name: Name) -> dict[str, Any]:
        """A calibration as the file a rig file names."""
        return to_dict((await session.acquisition.ask(lambda store: calibrations.found(store, name))).calibration)

    @app.get("/api/v1/calibrations/{name}/certificate", response_class=HTMLResponse)
    async def certificate(name: Name) -> str:
        """The certificate as a page to print."""

        def read(store: Store) -> Any:
            return calibrations.certificate(store, calibrations.found(store, name).id)

        return certificate_page(await session.acquisition.ask(read))

    @app.post("/api/v1/calibrations/use")
    async def use(body: Use) -> dict[str, Any]:
        """From now on compute loads with this calibration; earlier sweeps keep theirs."""
        await session.calibrating.use(body.name)
        return view.calibration_fields(session)


async def _done(bench: BenchDesk, body: Doing) -> None:
    match body.do:
        case Do.READ:
            bench.read()
        case Do.BREAK_OFF:
            bench.break_off()
        case Do.ACCEPT:
            await bench.accept()
        case Do.REDO:
            await (bench.redo_last() if body.task is None else bench.redo(body.task))
        case Do.REDO_SERIES:
            if body.cell is None or body.series is None:
                raise ValueError("redo-series: expected cell and series, which series is to be taken again")
            await bench.redo_series(body.cell, body.series)
        case Do.SKIP:
            await bench.skip()
        case Do.STOP:
            await bench.stop()


def _fields(bench: BenchDesk) -> dict[str, Any]:
    fields: dict[str, Any] = plain(bench.fields())
    return fields
