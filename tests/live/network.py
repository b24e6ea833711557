"""A daemon that listens beyond the loopback."""

import asyncio
import time

import pytest
import uvloop

from daq.live.daemon import listen, serve, url_of
from daq.live.links import links_of
from daq.live.web import access
from daq.live.web.steady import steady_s
from tests.live.jig import demo
from tests.sources.waiting import until


def on_a_network(tmp_path, job, *, hours=1.0, passes=None, proxies=(), **options):
    """Run job(url, session, keys) against the whole daemon of a demo that asks for keys. passes: kept there."""
    keys = access.new_keys(hours, utc_s=time.time(), steady_s=steady_s())
    listener = listen("127.0.0.1", 0)

    async def inside():
        await until(lambda: running.session.acquisition.pipeline.channels)
        await job(url_of(listener), running.session, keys)

    with listener, demo(tmp_path, **options) as running:
        parts = [running.board.run, *links_of(running.session)]
        whole = serve(
            running.session, parts, listener=listener, until=inside(), keys=keys, passes=passes, proxies=proxies
        )
        address = listener.getsockname()

        async def to_its_end():
            await asyncio.wait_for(whole, 120)
            with pytest.raises(ConnectionRefusedError):
                await asyncio.open_connection(*address)

        uvloop.run(to_its_end())
