"""Which more steps could give an ended sweep its verdict, computed once beside the event loop."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from daq.fit.expectation import duration_s
from daq.live.session.acquisition import Acquisition
from daq.live.session.listening import log
from daq.pipeline import Output
from daq.sweep.bend import bend_of
from daq.sweep.evidence import gathered
from daq.sweep.next_ride import next_positions_mm
from daq.sweep.run import ENDED, State
from daq.values import Onset, Verdict


@dataclass(frozen=True, slots=True)
class MoreSteps:
    """Positions to ride as well, and how long that takes."""

    positions_mm: tuple[float, ...]
    minutes: float


class Undecided:
    """The sweep that ended last, if it has no verdict; it listens to the acquisition's answers."""

    def __init__(self, acquisition: Acquisition) -> None:
        self._at = acquisition
        self._found: tuple[object, int, MoreSteps | None] = (None, 0, None)
        """Of which sweep, after how many steps, and what."""
        acquisition.hears_output.append(self._hear)

    @property
    def more(self) -> MoreSteps | None:
        """What to ride as well. None before the end, after an end for the rider's sake, and where a verdict stands."""
        progress = self._at.pipeline.progress
        sweep, steps, more = self._found
        ended = progress is not None and progress.state is State.FINISHED
        return more if progress is not None and ended and sweep is progress and steps == len(progress.steps) else None

    def _hear(self, output: Output) -> None:
        progress = self._at.pipeline.progress
        if not isinstance(output, Onset) or progress is None or progress.state not in ENDED:
            return
        steps, plan = tuple(progress.steps), progress.plan
        self._found = progress, len(steps), None
        # Steps without torque stay without it: more steps decide nothing then.
        if output.verdict is not Verdict.UNDECIDED or any(
            one.test == "torque" and one.forbids for one in output.validity
        ):
            return

        def compute() -> MoreSteps:
            evidence = gathered(steps)
            positions_mm = next_positions_mm(evidence, bend_of(evidence))
            return MoreSteps(positions_mm, duration_s(len(positions_mm), plan.settle_s, plan.dwell_s) / 60.0)

        def keep(done: asyncio.Future[MoreSteps]) -> None:
            if done.cancelled():
                return
            if done.exception() is not None:
                log.error("the steps that could decide a sweep could not be computed", exc_info=done.exception())
                return
            self._found = progress, len(steps), done.result()

        asyncio.get_running_loop().run_in_executor(None, compute).add_done_callback(keep)
