"""The current sweep in the store: its row, its results as they come, its end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from daq.fit.ridden import Ridden
from daq.items import Event
from daq.keep.json_text import plain
from daq.live.session.acquisition import Rider
from daq.live.session.storing import Storing
from daq.measure.calibration import Calibration
from daq.pipeline import Output
from daq.ride import Ride
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan
from daq.sweep.run import State
from daq.values import Onset, StepMean


class Needs(Protocol):
    """What this needs of the acquisition."""

    storing: Storing | None
    clock: SessionClock
    ride: Ride
    rider: Rider
    calibration: Calibration

    def record(self, item: Event) -> None: ...


class KeptSweep:
    """Its number, and whether it is still open. It has to hear the outputs."""

    def __init__(self, at: Needs, *, client_id: Callable[[], int | None], ridden: Callable[[Ridden], None]) -> None:
        """client_id: whose sweep it is. ridden: told of a sweep that has ended."""
        self._at, self._client_id, self._ridden = at, client_id, ridden
        self.id: int | None = None
        """Its number; None in a session that stores nothing."""
        self.is_open = False

    async def begin(self, plan: Plan, from_us: int) -> int | None:
        """The number of a new row; None in a session that stores nothing. The sweep before it stays the current one
        until `make_current`. StoreError."""
        at = self._at
        if at.storing is None:
            return None
        return await at.storing.begin_sweep(
            plan, from_us=from_us, rider=at.rider, calibration=at.calibration, client_id=self._client_id()
        )

    def make_current(self, sweep_id: int | None) -> None:
        """From now on this sweep is the current one."""
        self.id, self.is_open = sweep_id, True

    def reopen(self) -> None:
        """It goes on after its end."""
        if self._at.storing is not None and self.id is not None:
            self._at.storing.end_sweep(self.id, None, None)
        self.is_open = True

    def hear(self, output: Output) -> None:
        """Store a result after the raw data it comes from."""
        if self._at.storing is None or self.id is None:
            return
        if isinstance(output, StepMean):
            self._at.storing.add_result(self.id, "step", "step/1", plain(output))
        elif isinstance(output, Onset):
            self._at.storing.add_result(self.id, "onset", output.method, plain(output))

    def close(self, state: State, at_us: int) -> None:
        """End it in this state; its answer ends the recording of it too."""
        self.is_open = False
        onset = self._at.ride.onset
        self._at.record(Event(self._at.clock.stamp_us(), "answer", {} if onset is None else plain(onset)))
        if self._at.storing is not None and self.id is not None:
            self._at.storing.end_sweep(self.id, at_us, state)
            found = self._at.ride.ridden(self.id, str(state))
            if found is not None:
                self._ridden(found)

    def forget(self) -> None:
        """It is another client's: nothing more belongs to it."""
        self.id = None
