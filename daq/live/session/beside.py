"""What takes longer to compute about a sweep than the event loop may wait: computed beside it, kept until the sweep
changes.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Generic, TypeVar

from daq.live.session.listening import log
from daq.sweep.progress import SweepProgress

T = TypeVar("T")


class Beside(Generic[T]):
    """The latest result, with the sweep and the number of steps it is about."""

    def __init__(self, what: str) -> None:
        """what: for the log, should it fail."""
        self._what = what
        self._found: tuple[SweepProgress | None, int, T | None] = (None, 0, None)

    def of(self, progress: SweepProgress | None) -> T | None:
        """The result for this sweep with the steps it has now; None before it is there."""
        sweep, steps, found = self._found
        return found if progress is not None and sweep is progress and steps == len(progress.steps) else None

    def forget(self) -> None:
        """There is no result until the next computation."""
        self._found = (None, 0, None)

    def compute(self, progress: SweepProgress, work: Callable[[], T]) -> None:
        """Begin; work must not touch the sweep, which goes on meanwhile."""
        steps = len(progress.steps)

        def keep(done: asyncio.Future[T]) -> None:
            if done.cancelled():
                return
            if done.exception() is not None:
                log.error(f"{self._what} could not be computed", exc_info=done.exception())
                return
            self._found = progress, steps, done.result()

        asyncio.get_running_loop().run_in_executor(None, work).add_done_callback(keep)
