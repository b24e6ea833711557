"""What the remaining minutes of a sweep can still find, recomputed after every step."""

from __future__ import annotations

from functools import partial

from daq.fit.expectation import Outlook, outlook
from daq.live.session.acquisition import Acquisition
from daq.live.session.beside import Beside
from daq.pipeline import Output
from daq.sweep.run import ENDED
from daq.values import StepMean

FIRST_STEPS = 3
"""With fewer steps, the rider's own scatter is unknown."""


class Outlooks:
    """The outlook of the current sweep; it listens to the acquisition's steps."""

    def __init__(self, acquisition: Acquisition) -> None:
        self._at = acquisition
        self._found = Beside[Outlook | None]("the outlook of a sweep")
        acquisition.hears_output.append(self._hear)

    @property
    def now(self) -> Outlook | None:
        """None before the first steps, after the last, and while a step is being redone."""
        progress = self._at.pipeline.progress
        return None if progress is None or progress.state in ENDED else self._found.of(progress)

    def _hear(self, output: Output) -> None:
        progress = self._at.pipeline.progress
        if not isinstance(output, StepMean) or progress is None or len(progress.steps) < FIRST_STEPS:
            return
        plan = progress.plan
        work = partial(
            outlook,
            tuple(progress.steps),
            rear_mm=max(plan.positions_mm),
            front_mm=min(plan.positions_mm),
            minutes_left=progress.status(self._at.clock.now_us() / 1e6).seconds_left / 60.0,
            dwell_s=plan.dwell_s,
            settle_s=plan.settle_s,
        )
        self._found.compute(progress, work)
