"""What the remaining minutes of a sweep can still find, recomputed after every step."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from daq.fit.expectation import Outlook, outlook
from daq.live.session.beside import Beside
from daq.pipeline import Output
from daq.sweep.plan import Plan, interleaved
from daq.sweep.progress import SweepProgress
from daq.sweep.run import ENDED
from daq.values import StepMean

FIRST_STEPS = 3
"""With fewer steps, the rider's own scatter is unknown."""


class Outlooks:
    """The outlook of the current sweep. It has to hear the sweep's steps."""

    def __init__(self, *, progress: Callable[[], SweepProgress | None], now_us: Callable[[], int]) -> None:
        self._progress, self._now_us = progress, now_us
        self._found = Beside[Outlook | None]("the outlook of a sweep")

    @property
    def now(self) -> Outlook | None:
        """None before the first steps, after the last, and while a step is being redone."""
        progress = self._progress()
        return None if progress is None or progress.state in ENDED else self._found.of(progress)

    def hear(self, output: Output) -> None:
        """Compute again after a step."""
        progress = self._progress()
        if not isinstance(output, StepMean) or progress is None or len(progress.steps) < FIRST_STEPS:
            return
        if not progress.plan.names_onset or progress.plan.order == "one way":
            return  # no onset is ever named there, however steep the rise
        plan = progress.plan
        work = partial(
            outlook,
            tuple(progress.steps),
            to_ride_mm(plan, progress.ridden),
            minutes_left=progress.status(self._now_us() / 1e6).seconds_left / 60.0,
            dwell_s=plan.dwell_s,
            settle_s=plan.settle_s,
        )
        self._found.compute(progress, work)


def to_ride_mm(plan: Plan, ridden: int) -> tuple[float, ...]:
    """The positions left after so many. An adaptive plan has yet to choose its own: as many, evenly over its range."""
    left = len(plan.positions_mm) - ridden
    if not plan.adaptive:
        return plan.positions_mm[ridden:]
    return interleaved(np.linspace(max(plan.positions_mm), min(plan.positions_mm), left).tolist())
