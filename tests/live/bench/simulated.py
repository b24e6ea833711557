"""A simulated bench for tests at the edges: simulated cells and weights, real pseudo-terminal, real store."""

from __future__ import annotations

import asyncio
from unittest import mock

import uvloop

from daq.keep.store import Store
from daq.live.bench.wanted import Wanted
from daq.live.daemon import serve
from daq.live.session import beat
from daq.live.simulated_bench import SimulatedBench

WANTED = {
    "made_by": "R. Doe",
    "masses_kg": (5, 10, 20, 30, 40),
    "reference": {"weights_class": "M1"},
    "gravity": {"g_m_s2": 9.81, "u_g_m_s2": 1e-4},
    "warm_up_min": 1,
    "creep_min": 0,
    "read_s": 3,
}


def wanted(**changes):
    return Wanted(**{**WANTED, **changes})


BEAT_S = 0.01
"""Between two looks for new scans: at a high pace the usual time is longer than a reading."""


def on_bench(path, work, *, pace=60.0, seed=1, **options):
    """The session after `work(made)` has run on a simulated bench whose store lies at this path."""

    async def all_of_it():
        made = SimulatedBench(Store.open(path), seed=seed, pace=pace, **options)

        async def until():
            while made.session.acquisition.sensors.greeting is None or not made.session.acquisition.pipeline.channels:
                await asyncio.sleep(0.01)
            await work(made)

        await serve(made.session, made.links, until=until())
        return made

    with mock.patch.object(beat, "TICK_S", BEAT_S):
        return uvloop.run(all_of_it())


async def read(made):
    """Take the reading that is due, with what hangs on the cells now."""
    desk = made.session.calibrating.bench
    await made.arrived()
    desk.read()
    while "break-off" in desk.accepts():
        await asyncio.sleep(0.005)
    return desk


async def work_through(made, *, until=None):
    """Read what is due, as a careful engineer, until this reading is due or all is done."""
    desk = made.session.calibrating.bench
    while desk.bench.task is not None and desk.bench.task.id != until:
        await read(made)
        assert desk.pending == (), desk.pending
