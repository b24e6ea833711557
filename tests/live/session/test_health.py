"""Ready means that data come in: true on a live jig, false as soon as it falls silent, and true again."""

import asyncio

import httpx
import pytest
import uvloop

from daq.live.telling.teller import Teller
from daq.live.web.api import make_app
from daq.live.web.gate import Gate
from daq.sources.health import SourceHealth
from tests.live.jig import SHORT, demo, serving
from tests.sources.waiting import until


async def answer(client, code):
    """The first answer of /health/ready with this code."""
    while (ready := await client.get("/health/ready")).status_code != code:
        await asyncio.sleep(0.01)
    return ready.json()


def test_ready_follows_the_sensors_and_alive_stays(tmp_path):
    async def inside():
        transport = httpx.ASGITransport(app=Gate(make_app(Teller(running.session))))
        await until(lambda: running.session.acquisition.pipeline.channels)
        await running.session.sweep.begin(SHORT)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            well = await answer(client, 200)
            send, running.board.send = running.board.send, lambda block: None
            silent = await answer(client, 503)
            alive = await client.get("/health/live")
            running.board.send = send
            await answer(client, 200)

        assert well == {"ready": True, "troubles": {}}
        assert "no data" in silent["troubles"]["board"]
        assert alive.status_code == 200

    with demo(tmp_path, pace=5.0) as running:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))


def arriving(gaps_s, *, kind="board", pace=1.0):
    """A source after arrivals with these gaps between them, and the time of the last, microseconds."""
    health, at_us = SourceHealth("board", kind, pace=pace), 0
    for gap_s in (0.0, *gaps_s):
        at_us += round(gap_s * 1e6)
        health.arrived(at_us, 1)
    return health, at_us


@pytest.mark.parametrize(("gap_s", "live_s", "stale_s"), [(0.02, 0.4, 0.6), (0.8, 2.3, 2.5), (2.0, 5.9, 6.1)])
def test_a_slow_transmitter_is_stale_after_three_of_its_own_gaps_and_a_quick_one_at_once(gap_s, live_s, stale_s):
    health, last_us = arriving([gap_s] * 120)

    assert health.state(last_us + round(live_s * 1e6)) == "live"
    assert health.state(last_us + round(stale_s * 1e6)) == "stale"
    assert health.rate_hz(last_us) == pytest.approx(1 / gap_s, rel=0.02)


def test_one_long_silence_does_not_make_a_source_a_slow_one():
    health, last_us = arriving([0.02] * 20 + [4.0] + [0.02] * 4)

    assert health.state(last_us + 600_000) == "stale"


def test_however_slow_a_source_is_absent_after_ten_seconds():
    health, last_us = arriving([9.0] * 8)

    assert health.state(last_us + 9_900_000) == "live"
    assert health.state(last_us + 10_100_000) == "absent"


def test_a_person_sees_ages_in_real_seconds_however_fast_the_session_runs():
    health, last_us = arriving([8.0] * 8, pace=4.0)

    assert health.age_s(last_us + 8_000_000) == 2.0
    assert health.stale_after_s == 3.0 * 8.0 / 4.0
    assert health.state(last_us + 23_000_000) == "live"
    assert health.state(last_us + 25_000_000) == "stale"
