"""Which more steps could give an ended sweep its verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from daq.fit.expectation import duration_s
from daq.live.session.beside import Beside
from daq.pipeline import Output
from daq.sweep.bend import bend_of
from daq.sweep.evidence import gathered
from daq.sweep.next_ride import next_positions_mm
from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from daq.sweep.run import ENDED, State
from daq.values import Onset, StepMean


@dataclass(frozen=True, slots=True)
class MoreSteps:
    """Positions to ride as well, and how long that takes."""

    positions_mm: tuple[float, ...]
    minutes: float


class Undecided:
    """The sweep that ended last, if it has no verdict. It has to hear the answers."""

    def __init__(self, *, progress: Callable[[], SweepProgress | None]) -> None:
        self._progress = progress
        self._found = Beside[MoreSteps]("the steps that could decide a sweep")

    @property
    def more(self) -> MoreSteps | None:
        """What to ride as well. None before the end, after an end for the rider's sake, and where a verdict stands."""
        progress = self._progress()
        return self._found.of(progress) if progress is not None and progress.state is State.FINISHED else None

    def hear(self, output: Output) -> None:
        """Compute again after the answer of a sweep that has ended."""
        progress = self._progress()
        if not isinstance(output, Onset) or progress is None or progress.state not in ENDED:
            return
        self._found.forget()
        if output.next_ride is not None:
            again_mm = output.next_ride.again_mm
            self._found.compute(progress, partial(more_steps, tuple(progress.steps), progress.plan, again_mm))


def more_steps(steps: Sequence[StepMean], plan: Plan, also_mm: Sequence[float]) -> MoreSteps:
    """The positions that tell most beside these steps. also_mm: positions to ride again besides."""
    evidence = gathered(steps)
    positions_mm = next_positions_mm(evidence, bend_of(evidence), also_mm)
    return MoreSteps(positions_mm, duration_s(len(positions_mm), plan.settle_s, plan.dwell_s) / 60.0)
