"""The path of incoming data: into the store first, then through the ride, then to the listeners.

Everything runs in one event loop: receipt order is the order of the stamps, which is what makes replay exact.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from daq.items import SEATED, Event, Item, Notification, WireBytes
from daq.keep.recording import RecordingWriter
from daq.keep.store import Store
from daq.live.session.backlog import Backlog
from daq.live.session.listening import log, safely
from daq.live.session.sensors import Sensors, nothing_yet
from daq.live.session.storing import Storing, in_runs
from daq.measure.calibration import Calibration
from daq.pipeline import Output, Pipeline, item_of
from daq.refusals import NotNow, Refusal, See
from daq.ride import Heard, Ride
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.progress import Notice
from daq.values import Loads, Samples, Stroke

NOTICES_KEPT = 20
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Rider:
    """Who is in the saddle, by pseudonym, and how heavy as ridden."""

    pseudonym: str
    mass_kg: float | None


class Acquisition:
    """Clock, sensors, ride, calibration in use, rider and store of one session."""

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration,
        clock: SessionClock,
        rider: Rider,
        *,
        storing: Storing | None,
        simulated: bool,
        recorder: RecordingWriter | None,
    ) -> None:
        self.rig, self.calibration, self.clock, self.rider = rig, calibration, clock, rider
        self.storing, self.simulated = storing, simulated
        self.ride = Ride(rig, calibration, mass_kg=rider.mass_kg)
        self.sensors = Sensors(
            rig,
            clock.pace,
            record=None if recorder is None else self.record,
            notice=self.notice,
            pipeline=lambda: self.ride.pipeline,
        )
        self.recent = Backlog()
        self.stroke: Stroke | None = None
        """The last one."""
        self.notices: deque[Notice] = deque(maxlen=NOTICES_KEPT)
        self.hears_scans: list[Callable[[Samples], None]] = []
        self.hears_output: list[Callable[[Output], None]] = []
        self.hears_event: list[Callable[[Event], None]] = []
        self.hears_item: list[Callable[[], None]] = []
        """Called when everything that follows from one item has been passed on."""
        self.failed: Callable[[Exception], None] = _raised
        """Called when something that arrived could not be computed; set by whoever tells it and marks the sweep."""
        self._recorder = recorder

    @property
    def pipeline(self) -> Pipeline:
        """Of the ride."""
        return self.ride.pipeline

    def channels(self) -> tuple[str, ...]:
        """The board's channels in the order of its scans. NotNow before its hello."""
        if not self.pipeline.channels:
            raise nothing_yet(self.rig)
        return self.pipeline.channels

    # --- what arrives, and what a person does -----------------------------------------------------------------------

    def drain(self) -> None:
        """Take all that has arrived: into the queue for the store before anything is computed from any of it. What
        cannot be computed holds up neither the rest nor a person's event, a stop least of all."""
        with self._faults_told():
            items = self.sensors.take()
            for item in items:
                self._store(item)
            for item in _in_runs(items):
                with self._faults_told():
                    self._hear(item, self.ride.feed(item))

    def act(self, kind: str, content: dict[str, Any]) -> None:
        """Take a person's event after all that arrived before it. Refusal if it does not fit: then it is not kept.
        After any other error it is kept: it may have acted."""
        self.drain()
        event = Event(self.clock.stamp_us(), kind, content)
        try:
            outputs = self.ride.feed(event)
        except Refusal:
            raise
        except Exception:
            self._store(event)
            self.record(event)
            raise
        self._store(event)
        self.record(event)
        self._hear(event, outputs)

    def arrive(self, kind: str, content: dict[str, Any]) -> None:
        """Take an event that nobody can take back: into the queue for the store before anything is computed from it."""
        event = Event(self.clock.stamp_us(), kind, content)
        self._store(event)
        self.drain()
        self.record(event)
        self._hear(event, self.ride.feed(event))

    async def accept(self, kind: str, content: dict[str, Any]) -> None:
        """Act, and acknowledge by returning. Refusal; NotStored if it has been done but is not on the disk."""
        self.act(kind, content)
        await self.stored()

    async def stored(self) -> None:
        """Wait until everything so far is on the disk. NotStored if it is only in memory."""
        if self.storing is not None:
            await self.storing.stored()

    async def ask(self, use: Callable[[Store], T]) -> T:
        """Run use(store) after everything queued. NotNow if this session stores nothing; StoreError."""
        return await self.kept_by().call(use)

    def kept_by(self) -> Storing:
        """The store's keeper. NotNow without a store."""
        if self.storing is None:
            raise NotNow("nothing is stored in this session, so nothing can be kept")
        return self.storing

    def session_id(self) -> int:
        """Its number in the store. NotNow without a store."""
        return self.kept_by().session_id

    def take_up(self, items: Iterable[Item]) -> None:
        """Feed the ride with items that are stored already."""
        for item in items:
            self.ride.feed_again(item)

    def seat(self, rider: Rider) -> None:
        """From now on this is the rider; a sweep that is set up takes it into account, now and when it is
        recomputed. Between sweeps no event says so: a mass outside a sweep would stay when its rider is forgotten."""
        self.rider = rider
        if self.ride.under_way:
            self.act(SEATED, {"mass_kg": rider.mass_kg})
        else:
            self.pipeline.mass_kg = rider.mass_kg

    def use(self, calibration: Calibration) -> None:
        """From now on compute loads with this calibration, from its own zero."""
        self.calibration = calibration
        self.ride = Ride(self.rig, calibration, mass_kg=self.rider.mass_kg)
        if self.sensors.greeting is not None:
            self.ride.feed(item_of(self.sensors.greeting, self.clock.now_us()))

    # --- what is told -----------------------------------------------------------------------------------------------

    def notice(self, level: str, text: str, *, pain: bool = False, see: See | None = None) -> None:
        """Show everybody at the jig one sentence. pain: it is over with the pain it tells of. see: where it is done
        what it asks for."""
        self._tell(Notice(level, text, self.clock.now_us() / 1e6, pain, see))

    def troubles(self) -> dict[str, str]:
        """What is wrong with each part now, in one sentence; empty text if nothing is."""
        found = self.sensors.troubles(self.clock.now_us())
        kept = self.storing
        store = "" if kept is None else kept.trouble or ". ".join(filter(None, (kept.vanished, kept.refused)))
        return {**found, "store": store}

    @contextlib.contextmanager
    def _faults_told(self) -> Iterator[None]:
        try:
            yield
        except Exception as error:
            self.failed(error)

    def _hear(self, item: Item, outputs: list[Heard]) -> None:
        if isinstance(item, Samples):
            for hears in self.hears_scans:
                safely(hears, item)
        if isinstance(item, Event):
            for told in self.hears_event:
                safely(told, item)
        for output in outputs:
            if isinstance(output, Event):
                log.error("a stage of the computation failed", extra={"why": output.content["error"]})
                self._store(output)
                self.record(output)
                continue
            self._tell(output)
        for heard in self.hears_item:
            safely(heard)

    def _tell(self, output: Output) -> None:
        safely(self._remember, output)
        for hears in self.hears_output:
            safely(hears, output)

    def _remember(self, output: Output) -> None:
        match output:
            case Loads():
                self.recent.remember(output)
            case Stroke():
                self.stroke = output
            case Notice():
                self.notices.append(output)

    # --- what is kept -----------------------------------------------------------------------------------------------

    def _store(self, item: Item) -> None:
        if self.storing is not None:
            self.storing.add(item)

    def record(self, item: WireBytes | Notification | Event) -> None:
        """Write what has arrived into the recording, if there is one."""
        recorder = self._recorder
        if recorder is None:
            return
        try:
            recorder.add(item)
        except Exception as error:  # a fault of ours too: the store has it, and a recording is a copy
            log.exception("the recording failed")
            self._recorder = None
            with contextlib.suppress(Exception):
                recorder.close()
            why = (isinstance(error, OSError) and error.strerror) or f"a fault of the program, {error!r}"
            self.notice("caution", f"the recording has ended, it cannot be written ({why}); the store goes on")


def _in_runs(items: list[Item]) -> list[Item]:
    """The items in runs; as they came if they cannot be joined, which takes longer and gives the same."""
    try:
        return list(in_runs(items))
    except Exception:
        log.exception("what arrived could not be joined")
        return items


def _raised(error: Exception) -> None:
    raise error
