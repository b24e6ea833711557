"""What more a sweep without a verdict is offered: nothing where more steps could not bring one."""

import asyncio
from dataclasses import replace
from types import SimpleNamespace

import pytest

from daq.live.session.undecided import Undecided
from daq.sweep.run import State
from daq.values import NextRide, Verdict
from tests.fit.sweeps import ridden


async def offered(next_ride):
    """What is offered after an undecided sweep that asks for this; waits for what is computed beside the loop."""
    sweep = ridden()
    progress = SimpleNamespace(state=State.FINISHED, steps=sweep.steps, plan=sweep.plan)
    ended = Undecided(progress=lambda: progress)
    undecided = replace(sweep.onset, verdict=Verdict.UNDECIDED, onset_mm=None, interval_95_mm=None, next_ride=next_ride)
    loop = asyncio.get_running_loop()
    computations = []
    run = loop.run_in_executor
    loop.run_in_executor = lambda *words: computations.append(run(*words)) or computations[-1]
    ended.hear(undecided)
    await asyncio.gather(*computations)
    await asyncio.sleep(0)
    return ended.more


@pytest.mark.parametrize("again_mm", [(80.0, 60.0, 30.0), (80.0, 65.0, 30.0)])
def test_more_steps_are_offered_where_the_answer_asks_for_them_and_all_that_it_asks_for(again_mm):
    found = asyncio.run(offered(NextRide((), again_mm, whole=False, steps=3, minutes=2.0)))

    assert found is not None
    assert len(found.positions_mm) > 1
    assert set(again_mm) <= set(found.positions_mm)


def test_no_more_steps_are_offered_where_something_else_has_to_be_cured_first():
    """`judged` says so by asking for none: hips that slid have slid, however many steps are ridden after them."""
    assert asyncio.run(offered(None)) is None
