"""One session of the daemon: what arrives is queued for the store, fed to the pipeline, and told to the pages.

Everything runs in one event loop: receipt order is the order of the stamps, which is what makes replay exact.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from daq.fit.step_notes import MARK, PAIN, STEP_NOTE, Remarks, content_of, tilt_caution
from daq.fit.stroke_watch import StrokeWatch
from daq.items import Event, Item, Notification, WireBytes
from daq.keep.recording import RecordingWriter
from daq.live.session.calibration_desk import CalibrationDesk
from daq.live.session.sensors import Sensors
from daq.live.session.storing import Storing, in_runs
from daq.live.session.visit import VisitDesk
from daq.live.telling import messages, view
from daq.live.telling.backlog import Backlog
from daq.live.telling.hub import Hub
from daq.measure.calibration import Calibration
from daq.measure.zero import Zero, zero_of
from daq.pipeline import FAULT, FITTER, SWEEP_BEGUN, ZERO, Output, Pipeline, beginning, item_of
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan
from daq.sweep.progress import Note, SweepProgress
from daq.sweep.run import ENDED, NotNow, State, fitter_may
from daq.sweep.run import Event as SweepEvent
from daq.values import Loads, Onset, Samples, StepMean, Stroke

TICK_S = 0.05
"""A beat has its cost however little has come, and a scan on a page may be 0.1 s old."""
SWEEP_EVERY = 5
"""Ticks between two messages about the sweep, a quarter of a second."""
SOURCES_EVERY = 10
NOTES_KEPT = 20
ZERO_MOVED = "(zero moved)"
"""How the name of such a doubt ends."""


class Session:
    """The sensors' data on its way to store, pipeline and pages. The links call its sensors, the API the verbs."""

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration,
        clock: SessionClock,
        rider: view.Rider,
        *,
        storing: Storing | None = None,
        simulated: bool = False,
        recorder: RecordingWriter | None = None,
        on_output: Callable[[Output], None] = lambda _: None,
    ) -> None:
        self.rig, self.calibration, self.clock, self.rider = rig, calibration, clock, rider
        self.simulated = simulated
        self.storing = storing
        self.hub = Hub()
        self.pipeline = Pipeline(rig, calibration, mass_kg=rider.mass_kg)
        self.sensors = Sensors(self)
        self.sweep_id: int | None = None
        self.onset: Onset | None = None
        self.notes: deque[Note] = deque(maxlen=NOTES_KEPT)
        self.stroke: Stroke | None = None
        """The last one."""
        self.backlog = Backlog()
        self.remarks = Remarks()
        """What was said during the sweep."""
        self.strokes = StrokeWatch()
        """What the strokes of this sweep were like."""
        self.desk = VisitDesk(self)
        """Whose visit it is, and whether a sweep may begin."""
        self.calibrating = CalibrationDesk(self)
        """How the calibration stands, the daily check, the bench."""
        self._recorder = recorder
        self._on_output = on_output
        self._open_sweep = False
        self._troubles: dict[str, str] = {}

    @property
    def progress(self) -> SweepProgress | None:
        """The sweep under way or the last one; None before the first."""
        return self.pipeline.progress

    @property
    def ended(self) -> bool:
        """Whether the last sweep has ended."""
        return self.progress is not None and self.progress.state in ENDED

    def refuse_during_sweep(self, what: str) -> None:
        """NotNow while a sweep is under way; what: that which has to wait."""
        if self.progress is not None and self.progress.state not in (*ENDED, State.WAITING):
            raise NotNow(f"a sweep is under way; stop it or call it enough before {what}")

    def use_calibration(self, calibration: Calibration) -> None:
        """From now on loads are computed with this one, and from its own zero."""
        self.calibration = calibration
        pipeline = Pipeline(self.rig, calibration, mass_kg=self.rider.mass_kg)
        if self.sensors.greeting is not None:
            pipeline.feed(item_of(self.sensors.greeting, self.clock.now_us()))
        self.pipeline = pipeline
        self.desk.zero_us = self.sweep_id = self.onset = None

    def seat(self, rider: view.Rider) -> None:
        """From now on this is the rider; the next sweep is stamped with pseudonym and mass."""
        self.rider = rider
        self.pipeline.mass_kg = rider.mass_kg
        self.hub.send(view.snapshot(self))

    # --- what the fitter does ---------------------------------------------------------------------------------------

    async def begin_sweep(self, plan: Plan) -> None:
        """Set up a sweep. NotNow while another one runs or before the board has said hello; StoreError."""
        self.refuse_during_sweep("another is set up")
        self.calibrating.refuse_during_bench("a sweep is set up")
        if not self.pipeline.channels:
            raise NotNow(f"the {self.sensors.loads_from} has sent nothing usable yet; see its cable and power")
        if self._open_sweep:
            self._end_sweep(State.WAITING)
        if self.storing is not None:
            self.sweep_id = await self.storing.begin_sweep(
                plan,
                from_us=self.clock.stamp_us(),
                rider=self.rider,
                calibration=self.calibration,
                client_id=None if self.desk.client is None else self.desk.client.id,
            )
        await self.desk.sweep_begun(self.sweep_id)
        self.onset = None
        content = beginning(
            plan,
            mass_kg=self.rider.mass_kg,
            channels=self.pipeline.channels,
            zero_counts=self.pipeline.zero_counts,
            calibration=self.calibrating.stamp(),
            board=self.pipeline.board,
            habitual_setback_mm=None if self.desk.intake is None else self.desk.intake.saddle.setback_mm,
        )
        await self.accept(SWEEP_BEGUN, content)
        self._open_sweep = True
        self.hub.send(view.snapshot(self))

    def take_up(self, sweep_id: int, items: Iterable[Item]) -> None:
        """Go on with a sweep that was cut off: feed what is stored of it, then pause it until the fitter resumes."""
        for item in items:
            outputs = self.pipeline.feed(item)
            if isinstance(item, Event):
                self._follow(item)
            self.strokes.hear(item)
            for output in outputs:
                self.strokes.see(output)
                if isinstance(output, Onset):
                    self.onset = output
        self.sweep_id, self._open_sweep = sweep_id, True
        if self.progress is not None and SweepEvent.PAUSE in fitter_may(self.progress.state):
            self._feed(Event(self.clock.stamp_us(), FITTER, {"event": str(SweepEvent.PAUSE)}))
        self.note("caution", "the sweep was interrupted; nothing recorded is lost. Resume when the rider is ready")

    async def fitter(self, event: SweepEvent, setback_mm: float | None = None) -> None:
        """Apply what the fitter did; durable when this returns. NotNow or ValueError when it does not fit."""
        if event is SweepEvent.BEGIN and (why := self.desk.in_the_way()):
            raise NotNow(why)
        await self.accept(FITTER, {"event": str(event), "setback_mm": setback_mm})

    async def take_zero(self) -> Zero:
        """Take the last seconds' readings as the empty jig's. NotNow during a sweep; NoZero when it is not at rest."""
        self.refuse_during_sweep("a zero is taken, which would shift its steps")
        self.drain()
        zero = zero_of(self.pipeline.recent_counts(), self.pipeline.calibration)
        drifted = self.calibrating.drifted(zero)
        await self.accept(ZERO, {"zero_counts": list(zero.counts)})
        self.desk.zero_us = self.clock.now_us()
        self.desk.holds_n.clear()
        self.desk.tell()
        names = [channel.name for channel in self.pipeline.calibration.forces]
        moved = ", ".join(f"{name} {round(n, 1) + 0.0:+.1f}" for name, n in zip(names, zero.moved_n, strict=True))
        self.note("info", f"zero taken; newtons away from the calibration's: {moved}")
        for doubt in drifted:
            self.note("caution", f"since the last zero, {doubt.sentence}")
        return zero

    async def mark(self, text: str) -> None:
        """Keep a word about this moment; pain or numbness also pauses the sweep."""
        progress = self.progress
        await self.accept(MARK, {"text": text, "setback_mm": None if progress is None else progress.setback_mm})
        if text != PAIN:
            self.note("info", f"marked: {text}")
            return
        if progress is not None and SweepEvent.PAUSE in fitter_may(progress.state):
            await self.fitter(SweepEvent.PAUSE)
        self.note("alarm", f"{text}: the rider stops pedalling. Stop the sweep, or resume only when it is gone")

    async def note_step(self, what: str, value: float) -> None:
        """Keep a score of the rider or the saddle's tilt with its step. NotNow without a sweep; ValueError."""
        if self.progress is None:
            raise NotNow("no sweep is set up that this could belong to")
        await self.accept(STEP_NOTE, content_of(self.progress, what, value))
        if caution := tilt_caution(self.remarks.notes):
            self.note("caution", caution)

    async def compensate_offset(self) -> str:
        """Let the power sensor find its own zero, and keep what it said. NotNow in a sweep, or with none to ask."""
        self.refuse_during_sweep("the power sensor's zero is set, which would shift its steps")
        if self.sensors.compensate is None:
            raise NotNow("no power sensor is linked whose zero could be set")
        said = await self.sensors.compensate()
        await self.accept("power-zero", {"said": said})
        self.note("info", f"power sensor: {said}")
        return said

    def note(self, level: str, text: str) -> None:
        """Tell everybody at the jig one sentence."""
        self._handle(Note(level, text, self.clock.now_us() / 1e6))

    # --- the beat ---------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Drain the inbox once a tick and tell the pages, until cancelled."""
        await self.calibrating.load_checks()
        beat = 0
        while True:
            await asyncio.sleep(TICK_S)
            self.drain()
            await self.calibrating.beat()
            beat += 1
            if beat % SWEEP_EVERY == 0 and self.calibrating.bench is not None:
                self.calibrating.tell_bench()
            if beat % SWEEP_EVERY == 0 and self.progress is not None:
                self.hub.send(messages.text("sweep", **view.standing(self)))
            if beat % SOURCES_EVERY == 0:
                self.hub.send(messages.text("sources", **view.sensors(self)))
                self._tell_of_troubles()
                self.desk.tell()
                self.calibrating.tell()

    def drain(self) -> None:
        """Feed everything that has arrived: queued for the store first, then through the pipeline."""
        for item in in_runs(self.sensors.take()):
            if isinstance(item, Samples):
                self.calibrating.feed(item)
            self._feed(item)

    async def accept(self, kind: str, content: dict[str, Any]) -> None:
        """Feed an event after all that arrived before it; only what the pipeline accepts is kept, and durably."""
        self.drain()
        event = Event(self.clock.stamp_us(), kind, content)
        self._feed(event)
        self.record(event)
        if self.storing is not None:
            await self.storing.flush()

    def _feed(self, item: Item) -> None:
        outputs = self.pipeline.feed(item)
        if self.storing is not None:
            self.storing.add(item)
        if isinstance(item, Event):
            self._follow(item)
        self.strokes.hear(item)
        for output in outputs:
            self.strokes.see(output)
            self._handle(output)
        if self._open_sweep and self.progress is not None and self.progress.state in ENDED:
            self._end_sweep(self.progress.state)

    def _end_sweep(self, state: State) -> None:
        self._open_sweep = False
        self.record(Event(self.clock.stamp_us(), "answer", messages.plain(self.onset) if self.onset else {}))
        if self.storing is not None and self.sweep_id is not None:
            self.desk.sweep_ended(self.sweep_id, state)
            self.storing.end_sweep(self.sweep_id, self.clock.stamp_us(), state)

    def _handle(self, output: Output) -> None:
        """Tell the pages of one output, and keep the results."""
        self._on_output(output)
        if isinstance(output, Loads):
            self.backlog.remember(output)
            self.hub.send(messages.loads_block(output))
        elif isinstance(output, Stroke):
            self.stroke = output
            self.hub.send(view.stroke(self, output))
        elif isinstance(output, StepMean):
            self._tell_sweep()
            self._keep("step", "step/1", output)
        elif isinstance(output, Onset):
            self.onset = output
            self.hub.send(messages.text("onset", **view.onset_fields(self)))
            self._keep("onset", output.method, output)
        else:
            self.notes.append(output)
            self.hub.send(messages.text("notice", **messages.plain(output)))

    def _follow(self, event: Event) -> None:
        """What an event changes beside the pipeline: notes of steps, an answer whose step is taken back."""
        if event.kind == SWEEP_BEGUN:
            self.strokes = StrokeWatch()
        self.remarks = Remarks() if event.kind == SWEEP_BEGUN else self.remarks.after(event)
        if event.kind == FITTER and self.progress is not None:
            self.remarks = self.remarks.after_fitter(event.content["event"], len(self.progress.steps))
            if event.content["event"] == SweepEvent.REDO:
                self.onset = None
        if event.kind in (STEP_NOTE, FITTER):
            self._tell_sweep()

    def _tell_sweep(self) -> None:
        """Steps and standing together, before any answer that rests on them."""
        self.hub.send(messages.text("steps", steps=view.steps(self)))
        self.hub.send(messages.text("sweep", **view.standing(self)))

    def record_bytes(self, source: str, pieces: Iterable[tuple[int, bytes]]) -> None:
        """Write a port's bytes into the recording, when there is one, each piece with its receipt time."""
        if self._recorder is not None:
            for received_us, data in pieces:
                self.record(WireBytes(received_us, source, data))

    def record(self, item: WireBytes | Notification | Event) -> None:
        """Write what has arrived into the recording, when there is one."""
        if self._recorder is None:
            return
        try:
            self._recorder.add(item)
        except OSError as error:
            self._recorder = None
            self.note("caution", f"the recording has ended, it cannot be written ({error.strerror}); the store goes on")

    def _keep(self, kind: str, method: str, content: object) -> None:
        if self.storing is not None and self.sweep_id is not None:
            self.storing.add_result(self.sweep_id, kind, method, messages.plain(content))

    def _tell_of_troubles(self) -> None:
        """A sentence when something begins to be wrong, and one when it is mended; not one every second. A zero that
        has moved during a sweep is kept with the sweep: the scans of its steps do not show it."""
        now = view.troubles(self) | view.doubtful(self)
        for name, trouble in now.items():
            if trouble != self._troubles.get(name, ""):
                self.note("caution" if trouble else "info", f"{name}: {trouble or 'all well again'}")
                if trouble and name.endswith(ZERO_MOVED) and self._open_sweep:
                    fault = Event(self.clock.stamp_us(), FAULT, {"part": name, "sentence": trouble})
                    self._feed(fault)
                    self.record(fault)
        self._troubles = now
