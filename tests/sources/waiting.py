"""Waiting for something to become true, and running things meanwhile."""

import asyncio
import contextlib


async def until(condition, *, seconds=120.0):
    """Wait until condition() holds. AssertionError when it does not in time."""
    for _ in range(round(seconds / 0.01)):
        if condition():
            return
        await asyncio.sleep(0.01)
    raise AssertionError(f"did not come true within {seconds:g} s")


@contextlib.asynccontextmanager
async def running(*coroutines):
    """Run these beside the block, and end them with it. What one of them raises is raised."""
    tasks = [asyncio.ensure_future(coroutine) for coroutine in coroutines]
    try:
        yield
        for task in tasks:
            if task.done():
                task.result()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
