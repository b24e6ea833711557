"""The beat that drives a session: what has arrived is taken, what is complete is worked on, faults are looked for."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from daq.live.session.listening import safely, safely_awaited

TICK_S = 0.05
"""A beat has a cost however little data there is, and a scan on a page may be 0.1 s old."""
LOOK_EVERY = 10
"""Ticks between two checks for faults."""


class Beat:
    """Nothing that one part does in a beat holds up the others."""

    def __init__(
        self, *, drain: Callable[[], None], work: Callable[[], Awaitable[None]], look: Callable[[], None]
    ) -> None:
        """drain: takes what has arrived. work: does what has become due. look: checks for faults."""
        self._drain, self._work, self._look = drain, work, look
        self.hears: list[Callable[[], None]] = []
        """Called at the end of every beat."""

    async def run(self) -> None:
        """Beat until cancelled."""
        tick = 0
        while True:
            await asyncio.sleep(TICK_S)
            safely(self._drain)
            await safely_awaited(self._work())
            tick += 1
            if tick % LOOK_EVERY == 0:
                safely(self._look)
            for beat in self.hears:
                safely(beat)
