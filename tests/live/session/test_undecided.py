"""What more a sweep without a verdict is offered: nothing where more steps could not bring one."""

import asyncio
from dataclasses import replace
from types import SimpleNamespace

import pytest

from daq.live.session.undecided import Undecided
from daq.sweep.run import State
from daq.sweep.validity.saying import failed
from daq.values import Verdict
from tests.fit.sweeps import ridden


async def offered(validity):
    """What is offered after an undecided sweep with these findings; waits for what is computed beside the loop."""
    sweep = ridden()
    progress = SimpleNamespace(state=State.FINISHED, steps=sweep.steps, plan=sweep.plan)
    ended = Undecided(progress=lambda: progress)
    undecided = replace(
        sweep.onset, verdict=Verdict.UNDECIDED, onset_mm=None, interval_95_mm=None, validity=tuple(validity)
    )
    loop = asyncio.get_running_loop()
    computations = []
    run = loop.run_in_executor
    loop.run_in_executor = lambda *words: computations.append(run(*words)) or computations[-1]
    ended.hear(undecided)
    await asyncio.gather(*computations)
    await asyncio.sleep(0)
    return ended.more


@pytest.mark.parametrize(
    ("test", "forbids", "more"), [("torque", True, False), ("torque", False, True), ("hips", True, False)]
)
def test_more_steps_are_offered_unless_something_else_took_the_verdict(test, forbids, more):
    """Steps without torque stay without it, and hips that slid have slid, however many steps are ridden after them."""
    found = asyncio.run(offered([failed(test, "what was found", "what to do", forbids=forbids)]))

    assert (found is not None) is more
    assert found is None or len(found.positions_mm) > 1
