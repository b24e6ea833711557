"""Ready means that data come in: true on a live jig, false as soon as it falls silent, and true again."""

import asyncio

import httpx

from daq.live.api import make_app
from daq.live.gate import Gate
from tests.live.jig import SHORT, demo, until
from tests.live.test_session import serving


async def answer(client, code):
    """The first answer of /health/ready with this code. AssertionError when none comes within ten seconds."""
    for _ in range(1000):
        ready = await client.get("/health/ready")
        if ready.status_code == code:
            return ready.json()
        await asyncio.sleep(0.01)
    raise AssertionError(f"/health/ready never answered {code}, last {ready.text}")


def test_ready_follows_the_sensors_and_alive_stays(tmp_path):
    async def inside():
        transport = httpx.ASGITransport(app=Gate(make_app(running.session)))
        await until(lambda: running.session.pipeline.channels)
        await running.session.begin_sweep(SHORT)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            well = await answer(client, 200)
            send, running._board._send = running._board._send, lambda block: None
            silent = await answer(client, 503)
            alive = await client.get("/health/live")
            running._board._send = send
            await answer(client, 200)

        assert well == {"ready": True, "troubles": {}}
        assert "no data" in silent["troubles"]["board"]
        assert alive.status_code == 200

    with demo(tmp_path, pace=5.0) as running:
        asyncio.run(asyncio.wait_for(serving(running, inside), 60))
