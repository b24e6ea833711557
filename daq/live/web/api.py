"""The daemon's address: the page, the stream of messages, and the commands. Each route reads, calls, answers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from fastapi import FastAPI, Query, Request, Response
from fastapi.responses import JSONResponse, PlainTextResponse
from fastapi.staticfiles import StaticFiles
from pydantic import BaseModel, ConfigDict, Field, model_validator

import daq
from daq.fit.intake import Place, Score, Side
from daq.fit.step_notes import Red
from daq.keep.errors import NotStored
from daq.keep.json_text import plain
from daq.live.session.session import Session
from daq.live.telling import view
from daq.live.telling.blind import status_for_rider
from daq.live.telling.sweep_view import onset_fields, place_at, steps, sweep_status
from daq.live.telling.teller import Teller
from daq.live.web import metrics
from daq.live.web.access import Keys, Role
from daq.live.web.api_access import add_access
from daq.live.web.api_bench import add_bench
from daq.live.web.api_confirm import add_confirm
from daq.live.web.api_days import add_days
from daq.live.web.api_decide import add_deciding
from daq.live.web.api_own_data import add_own_data
from daq.live.web.api_plan import add_plan
from daq.live.web.api_proof import add_proof
from daq.live.web.api_same_client import add_same_client
from daq.live.web.api_steps import add_steps
from daq.live.web.api_stream import add_stream
from daq.live.web.api_typed import add_typed
from daq.live.web.api_visit import add_visit
from daq.live.web.passes import Passes
from daq.live.web.problems import RESPONSES, Problem, add_errors
from daq.refusals import NotNow
from daq.sweep.order import Order
from daq.sweep.plan import MOST_POSITIONS, BarHeightPolicy, ChanceOf, HeightPolicy, Plan, Protocol, Purpose
from daq.sweep.run import FITTERS_TRIGGERS, Trigger
from daq.text import Line, Lines

PAGE = next(
    (there for above in Path(daq.__file__).parents[:2] if (there := above / "dashboard").is_dir()),
    Path(daq.__file__).parent / "dashboard",
)
"""Inside the package if it was built and installed, beside it in a clone."""


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class JigSetting(_Body):
    """How the rest of the jig was set, besides the setback; omitted values are as planned, null is unknown."""

    saddle_height_mm: float | None = None
    """BB to saddle top along the seat tube."""
    bar_x_mm: float | None = None
    bar_y_mm: float | None = None
    saddle_tilt_deg: float | None = None


class FittersEvent(_Body):
    """What the fitter did. setback_mm and setting go with saddle_moved.

    A setting, even an empty one, confirms that saddle and bar are as planned except for its values; without one they
    were not checked, and reach is not confirmed.
    """

    event: Trigger
    setback_mm: float | None = None
    """May be omitted with a setting: then it is the requested position."""
    setting: JigSetting | None = None


class GoOn(_Body):
    """What is ridden after the end of a sweep; nothing said: what is left of its plan."""

    positions_mm: Annotated[tuple[float, ...], Field(max_length=MOST_POSITIONS)] = ()


class NewSweep(_Body):
    """A plan to ride. Omitted values take the plan's defaults."""

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
    loaded_chance: float | None = None
    chance_of: ChanceOf | None = None
    label: Annotated[Line, Field(max_length=60)] | None = None
    order: Order | None = None
    seed: int | None = None
    blinded: bool | None = None
    height_policy: HeightPolicy | None = None
    bar_height_policy: BarHeightPolicy | None = None
    start_setback_mm: Annotated[float, Field(ge=-100, le=300)] | None = None
    start_height_mm: Annotated[float, Field(ge=400, le=1000)] | None = None
    purpose: Purpose | None = None

    def plan(self) -> Plan:
        """The plan these fields describe. BadPlan if it cannot be ridden."""
        return Plan(**self.model_dump(exclude_none=True))


class StepNote(_Body):
    """hands, saddle, effort: 0 to 10 as the rider says; saddle_tilt_deg: as read after the move."""

    what: Line
    value: float


class Mark(_Body):
    """A remark about this moment: a symptom, hands moved, the door opened."""

    text: Annotated[Lines, Field(min_length=1, max_length=500)]


class Pain(_Body):
    """Where it hurts or is numb, and how much; red: what of it ends the ride today."""

    place: Place | None = None
    side: Side | None = None
    score: Score | None = None
    red: Red | None

    @model_validator(mode="after")
    def _whole(self) -> Pain:
        """What ends the ride today is told by itself; nobody fills in a form first."""
        if self.red is None and None in (self.place, self.side, self.score):
            raise ValueError("expected where it hurts, on which side, and how much from 0 to 10")
        return self


def make_app(teller: Teller, keys: Keys | None = None, passes: Passes | None = None) -> FastAPI:
    """The web application of the session the teller tells of; it stands behind a Gate with the same keys and passes."""
    session = teller.session
    app = FastAPI(
        title="Foreaft",
        version=daq.__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi",
        responses=RESPONSES,
    )
    add_errors(app)
    add_access(app, keys, passes)
    _add_sweep(app, session)
    _add_sensors(app, session)
    add_stream(app, teller, passes)
    _add_reading(app, teller)
    add_plan(app, session)
    add_typed(app, session)
    add_visit(app, session)
    add_own_data(app, session)
    add_same_client(app, session)
    add_deciding(app, session)
    add_steps(app, session)
    add_confirm(app, session)
    add_days(app, session)
    add_bench(app, session)
    add_proof(app, session)
    app.mount("/", StaticFiles(directory=PAGE, html=True), name="page")
    return app


def _add_sweep(app: FastAPI, session: Session) -> None:
    @app.post("/api/v1/sweeps", status_code=201)
    async def new_sweep(body: NewSweep) -> dict[str, Any]:
        """Set up a sweep; it waits for the event "begin"."""
        await session.sweep.begin(body.plan())
        return sweep_status(session)

    @app.post("/api/v1/sweep/more")
    async def more(body: GoOn) -> dict[str, Any]:
        """Go on with the sweep that has ended, from the step it ended at, or with these positions as well."""
        await session.sweep.go_on(body.positions_mm)
        return sweep_status(session)

    @app.post("/api/v1/sweep/events")
    async def fitters_event(body: FittersEvent, request: Request) -> dict[str, Any]:
        """What the fitter did: begin, saddle_moved, redo, undo, pause, resume, enough, stop.

        From the rider's screen only stop.
        """
        riders = request.scope.get("state", {}).get("role") is Role.RIDE
        if riders and body.event is not Trigger.STOP:
            raise Problem(403, "not for this screen", "the rider's screen can send the stop and nothing else")
        if body.event not in FITTERS_TRIGGERS:
            raise NotNow(f"{body.event} follows from the strokes; it cannot be sent")
        try:
            setting = None if body.setting is None else body.setting.model_dump(exclude_unset=True)
            await session.sweep.fitter(body.event, body.setback_mm, setting)
        except NotStored as error:
            done = "stopped" if body.event is Trigger.STOP else "done"
            raise Problem(507, f"{done}, not stored", str(error)) from error
        return status_for_rider(sweep_status(session)) if riders else sweep_status(session)

    @app.post("/api/v1/step-notes", status_code=201)
    async def step_note(body: StepNote) -> dict[str, Any]:
        """Store a rider's score, or the saddle's tilt, with the step being ridden or just finished."""
        await session.sweep.note_step(body.what, body.value)
        return sweep_status(session)

    @app.post("/api/v1/marks", status_code=201)
    async def mark(body: Mark) -> dict[str, Any]:
        """Store a remark about this moment."""
        await session.sweep.mark(body.text)
        return {"text": body.text}

    @app.post("/api/v1/pain", status_code=201)
    async def pain(body: Pain) -> dict[str, Any]:
        """Where it hurts, on which side, how much; and what of it ends the ride today."""
        await session.sweep.tell_pain(place=body.place, side=body.side, score=body.score, red=body.red)
        return sweep_status(session)


def _add_sensors(app: FastAPI, session: Session) -> None:
    @app.post("/api/v1/zero")
    async def zero() -> dict[str, Any]:
        """Take the zero of the empty jig from its last two seconds."""
        taken = await session.zero.take()
        cells = [channel.name for channel in session.acquisition.pipeline.calibration.forces]
        return {"moved_n": dict(zip(cells, taken.moved_n, strict=True))}

    @app.post("/api/v1/feet-off")
    async def feet_off() -> dict[str, Any]:
        """Add up the last two seconds against the rider's mass: seated, hands on the bar, feet off the pedals."""
        found = await session.zero.hold()
        return {**plain(found), "holds": len(session.zero.holds_n)}

    @app.post("/api/v1/power-zero")
    async def power_zero() -> dict[str, str]:
        """Have the power sensor find its own zero; it may take half a minute. The crank has to be still and
        unloaded."""
        return {"said": await session.zero.compensate_power()}


def _add_reading(app: FastAPI, teller: Teller) -> None:
    session = teller.session

    @app.get("/api/v1/sweep")
    async def sweep() -> dict[str, Any]:
        """The current or last sweep: status, steps, onset."""
        return {
            "sweep": sweep_status(session),
            "steps": steps(session),
            "onset": onset_fields(session) or None,
        }

    @app.get("/api/v1/sweep/place")
    async def place(setback_mm: Annotated[float, Query(ge=-100, le=300)]) -> dict[str, Any] | None:
        """Saddle height and bar at a setback that is set instead of the requested one, by the policies of the plan."""
        return place_at(session, setback_mm)

    @app.get("/health/live")
    async def alive() -> dict[str, str]:
        return {"status": "alive"}

    @app.get("/metrics", response_class=PlainTextResponse)
    async def monitored() -> Response:
        """Rates, ages and losses of the sensors, for a monitor."""
        text = metrics.exposed(view.sources(session), store_takes=view.stored(session), pages=len(teller))
        return Response(text, media_type=metrics.CONTENT_TYPE)

    @app.get("/health/ready", responses={503: {"description": "a sensor is not live, or the store takes no data"}})
    async def ready() -> JSONResponse:
        """503 while a sensor is not live or the store does not take data."""
        troubles = {name: text for name, text in session.acquisition.troubles().items() if text}
        return JSONResponse({"ready": not troubles, "troubles": troubles}, 503 if troubles else 200)
