"""A visit to practise on: the demo's simulated rider with the fitter's own hands, and a look back at its end."""

from __future__ import annotations

import asyncio
import signal
import socket

from daq.fit.practice import Moment, Practised, What
from daq.items import FITTER, Event
from daq.keep.again.stored import items_of
from daq.keep.store import Store
from daq.live.demo import LOOK_EVERY_S, Demo
from daq.pipeline import Output
from daq.sweep.plan import MOVING_S
from daq.sweep.progress import Notice
from daq.sweep.run import Trigger
from daq.values import StepMean

LAST_LOOK_S = 5.0
_SAID: dict[str, What] = {
    Trigger.SADDLE_MOVED: "moved",
    Trigger.REDO: "redo",
    Trigger.UNDO: "undo",
    Trigger.PAUSE: "pause",
    Trigger.STOP: "stop",
    Trigger.ENOUGH: "enough",
}


class Practice:
    """One practised visit in a store of its own."""

    def __init__(self, store: Store, *, kind: str, seed: int, pace: float, wrong: tuple[str, ...]) -> None:
        """ValueError for a kind of rider or a name there is not."""
        self._moments: list[Moment] = []
        self._pace = pace
        moving_s = pace * MOVING_S
        self.demo = Demo(store, kind=kind, seed=seed, pace=pace, wrong=wrong, on_output=self._hear, moving_s=moving_s)

    async def run(self, listener: socket.socket) -> signal.Signals | None:
        """Until a setback is decided, or a signal comes, which is returned."""
        return await self.demo.run_until(listener, self._decided())

    def look_back(self, store: Store) -> Practised:
        """What was done. store: that of the practice, opened for reading."""
        session, truth = self.demo.session, self.demo.jig.truth()
        decision = session.visit.decision
        titles = {check.key: check.title for check in session.visit.checks()}
        overridden = {titles.get(key, key): reason for key, reason in session.visit.reasons.items()}
        if decision is not None and decision.get("not_confirmed"):
            overridden["riding it again"] = decision["not_confirmed"]
        return Practised(
            onset_mm=truth.onset_mm,
            wrong=tuple(each.sentence for each in self.demo.wrong),
            moments=(*self._moments, *self._fitters(store)),
            overridden=overridden,
            answer=session.acquisition.ride.onset,
            decided_mm=None if decision is None else float(decision["setback_mm"]),
        )

    async def _decided(self) -> None:
        while self.demo.session.visit.decision is None:
            await asyncio.sleep(LOOK_EVERY_S)
        await asyncio.sleep(LAST_LOOK_S)  # the page shows that it is kept, and fetches the sheet

    def _hear(self, output: Output) -> None:
        if isinstance(output, StepMean):
            end_s = output.strokes[-1].end_s if output.strokes else 60.0 * output.t_min
            self._moments.append(Moment(end_s / self._pace, "asked"))
        elif isinstance(output, Notice) and output.level != "info":
            self._moments.append(Moment(output.t_s / self._pace, "caution", output.text))

    def _fitters(self, store: Store) -> list[Moment]:
        found = []
        for sweep in store.sweeps():
            for item in items_of(store, sweep):
                if isinstance(item, Event) and item.kind == FITTER and item.content["event"] in _SAID:
                    setback_mm = item.content.get("setback_mm")
                    place = "" if setback_mm is None else f"{setback_mm:g} mm"
                    what = _SAID[item.content["event"]]
                    found.append(Moment(item.received_us / 1e6 / self._pace, what, place))
        return found
