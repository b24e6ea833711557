"""A client's visit on the simulated jig, over the daemon's own address."""

import asyncio

import httpx
import uvloop

from daq.fit.intake import RED_FLAGS
from daq.live.telling.teller import Teller
from daq.live.web.api import make_app
from tests.live.jig import SHORT, demo, serving
from tests.sources.waiting import until

INTAKE = {
    "mass_kg": 75.0,
    "symptoms": [{"place": "hands", "side": "left", "score": 6}],
    "saddle": {"reference": "nose", "nose_to_width_mm": 75.0, "setback_mm": 75.0, "height_mm": 720.0},
    "crank_mm": 170.0,
    "inseam_mm": 815.0,
    "cleared": list(RED_FLAGS),
}
MEASURED = {"height_mm": 720.0, "saddle_tilt_deg": -1.0, "cleats_set": True, "hands_marked": True}


def on_the_jig(tmp_path, job, *, simulated=True, **options):
    """Run job(client, session) against the app of a demo's session while the simulated jig sends. simulated: what the
    session takes its jig for."""

    async def inside():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        transport = httpx.ASGITransport(app=make_app(Teller(session)))
        async with httpx.AsyncClient(transport=transport, base_url="http://jig") as client:
            await job(client, session)

    with demo(tmp_path, **options) as running:
        running.session.acquisition.simulated = simulated
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))


async def arrived(client):
    """A new client with intake and everything measured."""
    made = (await client.post("/api/v1/clients", json={"name": "Ada Example", "service": True})).json()
    await client.put("/api/v1/visit/intake", json=INTAKE)
    await client.patch("/api/v1/visit/measured", json=MEASURED)
    return made["pseudonym"]


async def empty(session):
    """The simulated jig has stood empty long enough for a zero."""
    await until(lambda: len(session.acquisition.recent.last(2.0)) and session.acquisition.clock.now_us() > 4e6)


async def all_well(client, session):
    """Zero taken on the empty jig, plan set, rider pedalling."""
    await empty(session)
    assert (await client.post("/api/v1/zero")).status_code == 200
    await session.sweep.begin(SHORT)
    await until(lambda: not session.visit.in_the_way())
