"""One session of the daemon: what arrives is queued for the store, fed to the pipeline, and told to the pages.

Everything runs in one event loop: receipt order is the order of the stamps, which is what makes replay exact.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any

from daq.items import Event, Item, Notification, WireBytes
from daq.keep.recording import RecordingWriter
from daq.live import messages, view
from daq.live.health import Counters, SourceHealth
from daq.live.hub import Hub
from daq.live.storing import Storing, joined
from daq.measure.calibration import Calibration
from daq.pipeline import BOARD, FITTER, POWER, SWEEP_BEGUN, Output, Pipeline, beginning, item_of
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.plan import Plan
from daq.sweep.progress import Note, SweepProgress
from daq.sweep.run import ENDED, NotNow, State, fitter_may
from daq.sweep.run import Event as SweepEvent
from daq.values import Loads, Onset, Samples, StepMean, Stroke
from daq.wire.board import BoardDecoder, Reply, WrongVersion

TICK_S = 0.02
SWEEP_EVERY = 12
"""Ticks between two messages about the sweep, a quarter of a second."""
SOURCES_EVERY = 25
NOTES_KEPT = 20


class Session:
    """The sensors' data on its way to store, pipeline and pages. Sources call arrive_*, the API the verbs."""

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
        self.decoder = BoardDecoder(BOARD)
        self.sweep_id: int | None = None
        self.onset: Onset | None = None
        self.notes: deque[Note] = deque(maxlen=NOTES_KEPT)
        self.health = {
            BOARD: SourceHealth(BOARD, "board", self._board_counters, self._board_trouble, clock.pace),
            POWER: SourceHealth(POWER, "power", self._power_counters, lambda: self.links[POWER](), clock.pace),
        }
        self.links: dict[str, Callable[[], str]] = {BOARD: str, POWER: str}
        """What each link says is wrong; set by whoever connects the links."""
        self._recorder = recorder
        self._on_output = on_output
        self._undecoded: list[tuple[int, bytes]] = []
        self._inbox: list[Item] = []
        self._open_sweep = False
        self._refusal = ""
        self._troubles: dict[str, str] = {}

    @property
    def progress(self) -> SweepProgress | None:
        """The sweep under way or the last one; None before the first."""
        return self.pipeline.progress

    # --- what arrives -----------------------------------------------------------------------------------------------

    def arrive_bytes(self, received_us: int, data: bytes) -> None:
        """Bytes of the board, as its port gave them; decoded with others on the next beat."""
        self._record(WireBytes(received_us, BOARD, data))
        self._undecoded.append((received_us, data))

    def arrive_notification(self, received_us: int, characteristic: str, payload: bytes) -> None:
        """One notification of the power sensor."""
        notification = Notification(received_us, POWER, characteristic, payload)
        self._record(notification)
        self._decode()
        self._inbox.append(notification)
        self.health[POWER].arrived(received_us, 1)

    # --- what the fitter does ---------------------------------------------------------------------------------------

    async def begin_sweep(self, plan: Plan) -> None:
        """Set up a sweep. NotNow while another one runs or before the board has said hello; StoreError."""
        if self.progress is not None and self.progress.state not in (*ENDED, State.WAITING):
            raise NotNow("a sweep is under way; stop it or call it enough first")
        if not self.pipeline.channels:
            raise NotNow("the board has not said hello yet; see its cable and power")
        if self._open_sweep:
            self._end_sweep(State.WAITING)
        if self.storing is not None:
            self.sweep_id = await self.storing.begin_sweep(
                plan, from_us=self.clock.stamp_us(), rider=self.rider, calibration=self.calibration
            )
        self.onset = None
        content = beginning(
            plan, mass_kg=self.rider.mass_kg, channels=self.pipeline.channels, zero_counts=self.pipeline.zero_counts
        )
        await self._accept(SWEEP_BEGUN, content)
        self._open_sweep = True
        self.hub.send(view.snapshot(self))

    def take_up(self, sweep_id: int, items: Iterable[Item]) -> None:
        """Go on with a sweep that was cut off: feed what is stored of it, then pause it until the fitter resumes."""
        for item in items:
            for output in self.pipeline.feed(item):
                if isinstance(output, Onset):
                    self.onset = output
        self.sweep_id, self._open_sweep = sweep_id, True
        if self.progress is not None and SweepEvent.PAUSE in fitter_may(self.progress.state):
            self._feed(Event(self.clock.stamp_us(), FITTER, {"event": str(SweepEvent.PAUSE)}))
        self.note("caution", "the sweep was interrupted; nothing recorded is lost. Resume when the rider is ready")

    async def fitter(self, event: SweepEvent, setback_mm: float | None = None) -> None:
        """Apply what the fitter did; durable when this returns. NotNow or ValueError when it does not fit."""
        await self._accept(FITTER, {"event": str(event), "setback_mm": setback_mm})
        self.hub.send(messages.text("steps", steps=view.steps(self.progress)))
        self.hub.send(messages.text("sweep", **view.standing(self)))

    async def mark(self, text: str) -> None:
        """Keep a word about this moment."""
        await self._accept("mark", {"text": text})
        self.note("info", f"marked: {text}")

    def note(self, level: str, text: str) -> None:
        """Tell everybody at the jig one sentence."""
        self._handle(Note(level, text, self.clock.now_us() / 1e6))

    # --- the beat ---------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Drain the inbox fifty times a second and tell the pages, until cancelled."""
        beat = 0
        while True:
            await asyncio.sleep(TICK_S)
            self.drain()
            beat += 1
            if beat % SWEEP_EVERY == 0 and self.progress is not None:
                self.hub.send(messages.text("sweep", **view.standing(self)))
            if beat % SOURCES_EVERY == 0:
                self.hub.send(messages.text("sources", now_s=self.clock.now_us() / 1e6, sources=view.sources(self)))
                self._tell_of_troubles()

    def drain(self) -> None:
        """Feed everything that has arrived: queued for the store first, then through the pipeline."""
        self._decode()
        inbox, self._inbox = self._inbox, []
        for item in joined(inbox):
            self._feed(item)

    def _decode(self) -> None:
        """Turn the board's bytes that have come so far into items, before anything later joins the inbox."""
        pieces, self._undecoded = self._undecoded, []
        for received_us, said in self.decoder.feed_pieces(pieces):
            if isinstance(said, Samples):
                self._inbox.append(item_of(said, received_us))
                self.health[BOARD].arrived(int(said.received_us[-1]), len(said))
            elif isinstance(said, WrongVersion):
                self._refusal = str(said)
            elif isinstance(said, Reply):
                self.note("info", f"board: {said.text or said.result.name.lower()}")
            else:
                self._refusal = view.missing_channels(self.rig, said)
                self._inbox.append(item_of(said, received_us))

    async def _accept(self, kind: str, content: dict[str, Any]) -> None:
        """Feed an event after all that arrived before it; only what the pipeline accepts is kept, and durably."""
        self.drain()
        event = Event(self.clock.stamp_us(), kind, content)
        self._feed(event)
        self._record(event)
        if self.storing is not None:
            await self.storing.flush()

    def _feed(self, item: Item) -> None:
        outputs = self.pipeline.feed(item)
        if self.storing is not None:
            self.storing.add(item)
        for output in outputs:
            self._handle(output)
        if self._open_sweep and self.progress is not None and self.progress.state in ENDED:
            self._end_sweep(self.progress.state)

    def _end_sweep(self, state: State) -> None:
        self._open_sweep = False
        self._record(Event(self.clock.stamp_us(), "answer", messages.plain(self.onset) if self.onset else {}))
        if self.storing is not None and self.sweep_id is not None:
            self.storing.end_sweep(self.sweep_id, self.clock.stamp_us(), state)

    def _handle(self, output: Output) -> None:
        """Tell the pages of one output, and keep the results."""
        self._on_output(output)
        if isinstance(output, Loads):
            self.hub.send(messages.loads_block(output))
        elif isinstance(output, Stroke):
            self.hub.send(messages.stroke(output, mass_kg=self.rider.mass_kg, g_m_s2=self.rig.g_m_s2))
        elif isinstance(output, StepMean):
            self.hub.send(messages.text("steps", steps=view.steps(self.progress)))
            self._keep("step", "step/1", output)
        elif isinstance(output, Onset):
            self.onset = output
            self.hub.send(messages.text("onset", **view.onset_fields(self)))
            self._keep("onset", output.method, output)
        else:
            self.notes.append(output)
            self.hub.send(messages.text("notice", **messages.plain(output)))

    def _record(self, item: WireBytes | Notification | Event) -> None:
        if self._recorder is not None:
            self._recorder.add(item)

    def _keep(self, kind: str, method: str, content: object) -> None:
        if self.storing is not None and self.sweep_id is not None:
            self.storing.add_result(self.sweep_id, kind, method, messages.plain(content))

    def _tell_of_troubles(self) -> None:
        """A sentence when something begins to be wrong, and one when it is mended; not one every second."""
        now = view.troubles(self)
        for name, trouble in now.items():
            if trouble != self._troubles.get(name, ""):
                self.note("caution" if trouble else "info", f"{name}: {trouble or 'all well again'}")
        self._troubles = now

    def _board_counters(self) -> Counters:
        decoder = self.decoder
        return Counters(
            decoder.dropped,
            decoder.damaged + decoder.malformed,
            self.pipeline.late,
            self.pipeline.clock_errors_ms[BOARD],
        )

    def _board_trouble(self) -> str:
        return self._refusal or self.links[BOARD]()

    def _power_counters(self) -> Counters:
        return Counters(damaged=self.pipeline.refused, clock_error_ms=self.pipeline.clock_errors_ms[POWER])
