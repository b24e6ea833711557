"""A sweep that does not go on says why, where the fitter looks."""

import asyncio

import uvloop

from daq.live.telling.sweep_view import sweep_status
from daq.sweep.run import Trigger
from tests.live.jig import SHORT, demo, serving
from tests.sources.waiting import until


def test_a_rider_who_does_not_pedal_is_named_as_the_cause(tmp_path):
    said = {}
    with demo(tmp_path, pace=20.0) as made:
        session = made.session

        async def job():
            await until(lambda: bool(session.acquisition.pipeline.channels))
            await session.sweep.begin(SHORT)
            await session.sweep.fitter(Trigger.BEGIN)
            await session.sweep.fitter(Trigger.SADDLE_MOVED, SHORT.positions_mm[0])
            said["at once"] = sweep_status(session)["why_waiting"]
            await until(lambda: session.acquisition.stroke is not None)  # the mark has been seen
            made.jig.set_pedalling(False)
            await until(lambda: "no turn of the crank" in sweep_status(session)["why_waiting"])
            said["then"] = sweep_status(session)["why_waiting"]

        uvloop.run(asyncio.wait_for(serving(made, job), 60))

    assert said["at once"] == "wait until the rider sits still in the new position"
    assert "pedal, or check the crank mark and its magnet" in said["then"]
