"""The demo: a simulated rider on a simulated jig, on the real input paths, and a fitter who follows the plan."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass
from typing import Any

from daq.live import messages, view
from daq.live.session import Session
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import ENDED, Event, NotNow, State

REAR_MM, FRONT_MM, POSITIONS = 80.0, 30.0, 11
MOVING_S = 4.0
"""Session time the simulated fitter takes to move the saddle."""
LOOK_EVERY_S = 0.02
PLAN = Plan(positions_mm=out_and_back(REAR_MM, FRONT_MM, POSITIONS))


async def follow_plan(session: Session, plan: Plan) -> None:
    """Ride the plan from the first position to the end, as a fitter would who does what the screen says."""
    while True:
        with contextlib.suppress(NotNow):
            await session.begin_sweep(plan)
            break
        await asyncio.sleep(LOOK_EVERY_S)
    await session.fitter(Event.BEGIN)
    while (progress := session.progress) is not None and progress.state not in ENDED:
        if progress.state is State.MOVING and progress.asked_setback_mm is not None:
            await asyncio.sleep(MOVING_S / session.clock.pace)
            with contextlib.suppress(NotNow):
                await session.fitter(Event.SADDLE_MOVED, progress.asked_setback_mm)
        await asyncio.sleep(LOOK_EVERY_S)
