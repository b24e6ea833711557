"""Decides what every page is sent, and how often; nothing else sends to them.

It hangs itself on a session and looks: what comes of the sensors' data is told as it comes, what people change when it
is not what was last told, what moves by itself some times a second.
"""

from __future__ import annotations

from typing import Any

from daq.keep.json_text import plain
from daq.live.session.session import Session
from daq.live.telling import messages, view
from daq.live.telling.hub import Hub, Page
from daq.live.telling.sweep_view import onset_fields, steps, sweep_status
from daq.pipeline import Output
from daq.values import Loads, Onset, StepMean, Stroke

SWEEP_EVERY = 5
"""Beats between two messages about the sweep and the bench, a quarter of a second."""
SOURCES_EVERY = 10


class Teller:
    """The pages of one session, and what they were last told."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._hub = Hub()
        self._loads: list[Loads] = []
        """Since the last beat: one message carries them. A board's hello cuts what arrived in a beat in two, and its
        first part would be as old as the beat is long."""
        self._beats = 0
        self._whole, self._sweep = self._whole_now(), self._sweep_now()
        self._bench, self._visit = False, ""
        session.listen(output=self._hear, item=self._look, beat=self._beat)

    def __len__(self) -> int:
        return len(self._hub)

    def join(self) -> Page:
        """A new page; it begins with a snapshot and the loads of the last seconds."""
        self._tell_loads()  # to the others: this page gets these loads from the last seconds
        loads = self.session.acquisition.recent.last()
        return self._hub.join(view.snapshot(self.session), *([messages.joined_block(loads)] if loads else []))

    def leave(self, page: Page) -> None:
        """A page has gone."""
        self._hub.leave(page)

    def close(self) -> None:
        """Let every page go."""
        self._hub.close()

    def _hear(self, output: Output) -> None:
        if not len(self._hub):
            return
        if isinstance(output, Loads):
            self._loads.append(output)
            return
        self._tell_loads()
        match output:
            case Stroke():
                self._hub.send(view.stroke(self.session, output))
            case StepMean():
                self._tell_sweep()
            case Onset():
                self._send("onset", **onset_fields(self.session))
            case _:
                self._send("notice", **plain(output))

    def _look(self) -> None:
        """Tell what people or the ride have changed since it was last told."""
        if not len(self._hub):
            return
        whole, sweep = self._whole_now(), self._sweep_now()
        if whole != self._whole:
            self._whole, self._sweep = whole, sweep
            self._hub.send(view.snapshot(self.session))
        elif sweep != self._sweep:
            self._tell_sweep()

    def _beat(self) -> None:
        if not len(self._hub):
            return
        self._tell_loads()
        self._look()
        self._beats += 1
        if self._beats % SWEEP_EVERY == 0:
            self._tell_bench()
            if self.session.sweep.progress is not None:
                self._send("sweep", **sweep_status(self.session))
        if self._beats % SOURCES_EVERY == 0:
            self._send("sources", **view.sensors(self.session))
            self._tell_visit()

    def _tell_loads(self) -> None:
        loads, self._loads = self._loads, []  # first: what cannot be sent would come again, and more, at each beat
        if loads:
            self._hub.send(messages.joined_block(loads))

    def _whole_now(self) -> tuple[Any, ...]:
        """When any of these is another one, a page starts again from a snapshot."""
        session = self.session
        at = session.acquisition
        standing = session.calibrating.status().standing
        return at.rider, at.calibration.id, standing, session.calibrating.checks, session.sweep.progress

    def _sweep_now(self) -> tuple[Any, ...]:
        """When any of these is another one, people or the ride have changed the sweep."""
        progress = self.session.sweep.progress
        if progress is None:
            return ()
        remarks = self.session.acquisition.ride.remarks
        return progress, progress.state, progress.setback_mm, len(progress.steps), remarks

    def _tell_sweep(self) -> None:
        """Steps and standing together, before any answer that rests on them."""
        self._sweep = self._sweep_now()
        self._send("steps", steps=steps(self.session))
        self._send("sweep", **sweep_status(self.session))

    def _tell_bench(self) -> None:
        """The bench while there is one, and once that there is none any more."""
        fields = view.bench_fields(self.session)
        if fields is not None or self._bench:
            self._send("bench", bench=fields)
        self._bench = fields is not None

    def _tell_visit(self) -> None:
        told = messages.text("visit", visit=view.visit_fields(self.session))
        if told != self._visit:
            self._visit = told
            self._hub.send(told)

    def _send(self, kind: str, **fields: Any) -> None:
        self._hub.send(messages.text(kind, **fields))
