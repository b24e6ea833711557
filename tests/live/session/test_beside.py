"""What is computed beside the event loop belongs to one sweep and one number of steps."""

import asyncio
from types import SimpleNamespace

import pytest
import uvloop

from daq.live.session.beside import Beside
from tests.sources.waiting import until


def sweep_of(steps):
    return SimpleNamespace(steps=["step"] * steps)


def test_a_result_holds_for_its_own_sweep_with_the_steps_it_had():
    async def inside():
        found, sweep = Beside("it"), sweep_of(3)
        found.compute(sweep, lambda: "result")
        assert found.of(sweep) is None, "not before it is there"
        await until(lambda: found.of(sweep))
        assert found.of(sweep) == "result"
        assert found.of(sweep_of(3)) is None, "another sweep with as many steps"
        assert found.of(None) is None
        sweep.steps.append("step")
        assert found.of(sweep) is None, "one step later"

    uvloop.run(asyncio.wait_for(inside(), 10))


@pytest.mark.parametrize("ends", ["forgotten", "failed"])
def test_what_is_forgotten_or_fails_gives_nothing(ends, caplog):
    def fails():
        raise ZeroDivisionError("planted")

    async def inside():
        found, sweep = Beside("the outlook"), sweep_of(3)
        if ends == "forgotten":
            found.compute(sweep, lambda: "result")
            await until(lambda: found.of(sweep))
            found.forget()
        else:
            found.compute(sweep, fails)
            await until(lambda: caplog.records)
            assert "the outlook could not be computed" in caplog.text
        assert found.of(sweep) is None

    uvloop.run(asyncio.wait_for(inside(), 10))
