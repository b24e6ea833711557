"""A sweep that does not go on says why, where the fitter looks."""

import uvloop

from daq.live.daemon import serve
from daq.live.links import links_of
from daq.live.telling import view
from daq.sweep.run import Trigger
from tests.live.jig import SHORT, demo
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
            said["at once"] = view.standing(session)["why_waiting"]
            await until(lambda: view.standing(session)["effort"] is not None)
            made.jig.set_pedalling(False)
            await until(lambda: "no turn of the crank" in view.standing(session)["why_waiting"])
            said["then"] = view.standing(session)["why_waiting"]

        uvloop.run(serve(session, [made._board.run, *links_of(session)], until=job()))

    assert said["at once"] == "wait until the rider sits still in the new position"
    assert "pedal, or look after the crank mark and its magnet" in said["then"]
