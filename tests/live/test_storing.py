"""Queued items survive whoever waits for their flush."""

import asyncio
import contextlib

from daq.items import Event
from daq.keep.store import Store
from daq.live.storing import Storing


def test_a_flush_whose_waiter_is_cancelled_still_stores_what_it_took_up(tmp_path):
    async def cancelled_at_once():
        store = Store.open(tmp_path / "store.sqlite")
        session_id = store.begin_session(
            started_utc="2026-01-01T00:00:00+00:00",
            monotonic_origin_ns=0,
            software="test",
            rig="",
            calibration={},
            simulated=True,
        )
        storing = Storing(store, session_id)
        storing.add(Event(1, "mark", {"text": "before"}))
        waiter = asyncio.create_task(storing.flush())
        await asyncio.sleep(0)
        waiter.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await waiter
        storing.add(Event(2, "mark", {"text": "after"}))
        await storing.close(3)

    asyncio.run(cancelled_at_once())

    with Store.open(tmp_path / "store.sqlite", write=False) as store:
        assert [item.content["text"] for item in store.read_items(1)] == ["before", "after"]
