"""What the remaining minutes of a sweep can still find, recomputed after every step, off the event loop."""

from __future__ import annotations

import asyncio
from functools import partial

from daq.fit.expectation import Outlook, outlook
from daq.live.session.acquisition import Acquisition
from daq.live.session.listening import log
from daq.pipeline import Output
from daq.values import StepMean

FIRST_STEPS = 3
"""With fewer steps, the rider's own scatter is unknown."""


class Outlooks:
    """The outlook of the current sweep; it listens to the acquisition's steps."""

    def __init__(self, acquisition: Acquisition) -> None:
        self._at = acquisition
        self._found: tuple[object, int, Outlook | None] = (None, 0, None)
        """For which sweep, after how many steps, and the outlook itself."""
        acquisition.hears_output.append(self._hear)

    @property
    def now(self) -> Outlook | None:
        """None before the first steps, after the last, and while a step is being redone."""
        progress = self._at.pipeline.progress
        sweep, steps, found = self._found
        return found if progress is not None and sweep is progress and steps == len(progress.steps) else None

    def _hear(self, output: Output) -> None:
        progress = self._at.pipeline.progress
        if not isinstance(output, StepMean) or progress is None or len(progress.steps) < FIRST_STEPS:
            return
        plan, steps = progress.plan, tuple(progress.steps)
        compute = partial(
            outlook,
            steps,
            rear_mm=max(plan.positions_mm),
            front_mm=min(plan.positions_mm),
            minutes_left=progress.status(self._at.clock.now_us() / 1e6).seconds_left / 60.0,
            dwell_s=plan.dwell_s,
            settle_s=plan.settle_s,
        )

        def keep(done: asyncio.Future[Outlook | None]) -> None:
            if done.cancelled():
                return
            if done.exception() is not None:
                log.error("the outlook of a sweep failed", exc_info=done.exception())
                return
            self._found = progress, len(steps), done.result()

        asyncio.get_running_loop().run_in_executor(None, compute).add_done_callback(keep)
