"""The daemon's address: the page, the stream of messages, and the commands. Each route reads, calls, answers."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Annotated, Any

from fastapi import FastAPI, Request, Response, WebSocket, WebSocketDisconnect
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from pydantic import BaseModel, ConfigDict, Field

import daq
from daq.keep.errors import StoreError
from daq.live import view
from daq.live.api_plan import add_plan
from daq.live.api_visit import add_visit
from daq.live.hub import Page
from daq.live.session import Session
from daq.sweep.order import Order
from daq.sweep.plan import MOST_POSITIONS, HeightPolicy, Plan, Protocol
from daq.sweep.run import FITTERS_EVENTS, Event, NotNow

PAGE = Path(daq.__file__).parent.parent / "dashboard"
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-cache",
}
BODY_AT_MOST = 65_536


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class FittersEvent(_Body):
    """What the fitter did. setback_mm goes with saddle_moved."""

    event: Event
    setback_mm: float | None = None


class NewSweep(_Body):
    """A plan to ride. What is left out takes the plan's defaults."""

    positions_mm: Annotated[tuple[float, ...], Field(min_length=1, max_length=MOST_POSITIONS)]
    settle_s: float | None = None
    dwell_s: float | None = None
    power_w: float | None = None
    cadence_rpm: float | None = None
    torque_band_nm: float | None = None
    cadence_band_rpm: float | None = None
    gradient_pct: float | None = None
    protocol: Protocol | None = None
    step_off_mm: float | None = None
    label: Annotated[str, Field(max_length=60)] | None = None
    order: Order | None = None
    seed: int | None = None
    blinded: bool | None = None
    height_policy: HeightPolicy | None = None
    start_setback_mm: Annotated[float, Field(ge=-100, le=300)] | None = None
    start_height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None

    def plan(self) -> Plan:
        """The plan these fields describe. BadPlan when it cannot be ridden."""
        return Plan(**self.model_dump(exclude_none=True))


class Mark(_Body):
    """A word about this moment: a symptom, hands moved, the door opened."""

    text: Annotated[str, Field(min_length=1, max_length=500)]


def problem(status: int, title: str, detail: str) -> JSONResponse:
    """An error as RFC 9457 has it."""
    return JSONResponse(
        {"title": title, "status": status, "detail": detail}, status, media_type="application/problem+json"
    )


def make_app(session: Session) -> FastAPI:
    """The web application of one session."""
    app = FastAPI(
        title="Foreaft", version=daq.__version__, docs_url=None, redoc_url=None, openapi_url="/api/v1/openapi"
    )
    _add_safety(app)
    _add_errors(app)
    _add_commands(app, session)
    _add_reading(app, session)
    add_plan(app)
    add_visit(app, session)
    app.mount("/", StaticFiles(directory=PAGE, html=True), name="page")
    return app


def _add_safety(app: FastAPI) -> None:
    @app.middleware("http")
    async def guard(request: Request, call_next: Any) -> Response:
        """Refuse writes from other origins and oversized bodies; send the headers that keep a page to itself."""
        if request.method not in ("GET", "HEAD"):
            if not same_origin(request.headers.get("origin"), request.headers.get("host")):
                return problem(403, "foreign origin", "commands are only taken from this daemon's own pages")
            if int(request.headers.get("content-length") or 0) > BODY_AT_MOST:
                return problem(413, "too large", f"a body here has at most {BODY_AT_MOST} bytes")
        response: Response = await call_next(request)
        response.headers.update(HEADERS)
        return response


def same_origin(origin: str | None, host: str | None) -> bool:
    """Whether a request comes from a page of this daemon, or from no page at all (a script, the command line)."""
    return origin is None or origin.split("://")[-1] == host


def _add_errors(app: FastAPI) -> None:
    @app.exception_handler(NotNow)
    async def not_now(_: Request, error: NotNow) -> JSONResponse:
        return problem(409, "not now", str(error))

    @app.exception_handler(ValueError)
    async def bad_value(_: Request, error: ValueError) -> JSONResponse:
        return problem(422, "not accepted", str(error))

    @app.exception_handler(StoreError)
    async def not_stored(_: Request, error: StoreError) -> JSONResponse:
        return problem(507, "not stored", str(error))

    @app.exception_handler(RequestValidationError)
    async def bad_request(_: Request, error: RequestValidationError) -> JSONResponse:
        found = [f"{'.'.join(str(part) for part in item['loc'][1:])}: {item['msg']}" for item in error.errors()]
        return problem(422, "not accepted", "; ".join(found))


def _add_commands(app: FastAPI, session: Session) -> None:
    @app.post("/api/v1/sweeps", status_code=201)
    async def new_sweep(body: NewSweep) -> dict[str, Any]:
        """Set up a sweep; it waits for the event "begin"."""
        await session.begin_sweep(body.plan())
        return view.standing(session)

    @app.post("/api/v1/sweep/events")
    async def fitters_event(body: FittersEvent) -> dict[str, Any]:
        """What the fitter did: begin, saddle_moved, redo, undo, pause, resume, enough, stop."""
        if body.event not in FITTERS_EVENTS:
            raise NotNow(f"{body.event} follows from the strokes; it cannot be sent")
        await session.fitter(body.event, body.setback_mm)
        return view.standing(session)

    @app.post("/api/v1/zero")
    async def zero() -> dict[str, Any]:
        """Take the zero of the empty jig from its last two seconds."""
        taken = await session.take_zero()
        return {"moved_n": dict(zip(session.rig.cells, taken.moved_n, strict=True))}

    @app.post("/api/v1/marks", status_code=201)
    async def mark(body: Mark) -> dict[str, Any]:
        """Keep a word about this moment."""
        await session.mark(body.text)
        return {"text": body.text}


def _add_reading(app: FastAPI, session: Session) -> None:
    @app.websocket("/api/v1/stream")
    async def stream(socket: WebSocket) -> None:
        if not same_origin(socket.headers.get("origin"), socket.headers.get("host")):
            await socket.close(1008, "foreign origin")
            return
        await socket.accept()
        page = session.hub.join(view.snapshot(session), *session.backlog())
        reader = asyncio.create_task(_until_gone(socket, page))
        try:
            while (message := await page.get()) is not None:
                await (socket.send_bytes(message) if isinstance(message, bytes) else socket.send_text(message))
            await socket.close(1013 if page.too_slow else 1001)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            reader.cancel()
            session.hub.leave(page)

    @app.get("/api/v1/sweep")
    async def sweep() -> dict[str, Any]:
        """The sweep under way or the last one: standing, steps, onset."""
        return {
            "sweep": view.standing(session),
            "steps": view.steps(session.progress),
            "onset": view.onset_fields(session) or None,
        }

    @app.get("/health/live")
    async def alive() -> dict[str, str]:
        return {"status": "alive"}

    @app.get("/health/ready")
    async def ready() -> JSONResponse:
        """503 while a sensor is not live or the store does not take data."""
        troubles = {name: text for name, text in view.troubles(session).items() if text}
        return JSONResponse({"ready": not troubles, "troubles": troubles}, 503 if troubles else 200)


async def _until_gone(socket: WebSocket, page: Page) -> None:
    """Pages only listen; reading notices when one has left."""
    try:
        while True:
            await socket.receive()
    except (WebSocketDisconnect, RuntimeError):
        page.close()
