"""What would settle an ended sweep without a verdict, reckoned once beside the event loop."""

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
class ToSettle:
    """What is to be ridden as well."""

    positions_mm: tuple[float, ...]
    minutes: float


class Settling:
    """Of the sweep that has ended last; it listens to the acquisition's answers."""

    def __init__(self, acquisition: Acquisition) -> None:
        self._at = acquisition
        self._reckoned: tuple[object, int, ToSettle | None] = (None, 0, None)
        """Of which sweep, after how many steps, and what."""
        acquisition.hears_output.append(self._hear)

    @property
    def now(self) -> ToSettle | None:
        """None before the end, after an end for the rider's sake, and where a verdict stands."""
        progress = self._at.pipeline.progress
        sweep, steps, found = self._reckoned
        ended = progress is not None and progress.state is State.FINISHED
        return found if progress is not None and ended and sweep is progress and steps == len(progress.steps) else None

    def _hear(self, output: Output) -> None:
        progress = self._at.pipeline.progress
        if not isinstance(output, Onset) or progress is None or progress.state not in ENDED:
            return
        steps, plan = tuple(progress.steps), progress.plan
        self._reckoned = progress, len(steps), None
        # Steps without torque stay without it: more steps settle nothing then.
        if output.verdict is not Verdict.UNDECIDED or any(
            one.test == "torque" and one.forbids for one in output.validity
        ):
            return

        def reckon() -> ToSettle:
            evidence = gathered(steps)
            positions_mm = next_positions_mm(evidence, bend_of(evidence))
            return ToSettle(positions_mm, duration_s(len(positions_mm), plan.settle_s, plan.dwell_s) / 60.0)

        def keep(done: asyncio.Future[ToSettle]) -> None:
            if done.cancelled():
                return
            if done.exception() is not None:
                log.error("what would settle a sweep could not be reckoned", exc_info=done.exception())
                return
            self._reckoned = progress, len(steps), done.result()

        asyncio.get_running_loop().run_in_executor(None, reckon).add_done_callback(keep)
