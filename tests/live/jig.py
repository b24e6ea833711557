"""A demo jig for tests at the edges: simulated rider, real pseudo-terminal, real store."""

from __future__ import annotations

import asyncio
import contextlib

import uvloop

from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.demo import Demo
from daq.live.links import links_of
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import Trigger
from tests.sources.waiting import until

SHORT = Plan(positions_mm=out_and_back(80.0, 30.0, 6), settle_s=6.0, dwell_s=8.0, torque_band_nm=2.0)


@contextlib.contextmanager
def demo(folder, *, pace=100.0, plan=SHORT, **options):
    """A Demo on a store in this folder. Its clock waits for a machine that cannot keep up with the pace."""
    store = Store.open(folder / "demo.sqlite")
    made = Demo(store, kind=options.pop("kind", "hinge"), seed=options.pop("seed", 1), pace=pace, **options)
    made.plan = plan
    yield made


async def serving(running, inside, *beside):
    """Run the demo's parts without its fitter, and what is given beside them, while `inside` acts."""
    await serve(running.session, [running.board.run, *links_of(running.session), *beside], until=inside())


async def under_way(session):
    """A sweep, begun as soon as the board is heard."""
    await until(lambda: session.acquisition.pipeline.channels)
    await session.sweep.begin(SHORT)
    await session.sweep.fitter(Trigger.BEGIN)


def run(coroutine):
    """To its end, within a minute."""
    return uvloop.run(asyncio.wait_for(coroutine, 60))
