"""One session of the daemon: acquisition and desks put together, and the beat that drives them.

    session > desks > acquisition > sensors, storing, ride

Each knows only what is to its right; anything else a desk needs is passed to it here, as a callable. What reports to
people sits above and subscribes (`listen`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from daq.fit.prechecks import JigReadings
from daq.keep.recording import RecordingWriter
from daq.live.session.acquisition import Acquisition, Rider
from daq.live.session.calibration_desk import CalibrationDesk
from daq.live.session.listening import safely, safely_awaited
from daq.live.session.occupied import Occupied
from daq.live.session.outlooks import Outlooks
from daq.live.session.proof_desk import ProofDesk
from daq.live.session.readings import readings
from daq.live.session.storing import Storing
from daq.live.session.sweep_desk import SweepDesk
from daq.live.session.typed_desk import TypedDesk
from daq.live.session.undecided import Undecided
from daq.live.session.visit_desk import VisitDesk
from daq.live.session.watch import Watch
from daq.live.session.zero_desk import ZeroDesk
from daq.measure.calibration import Calibration
from daq.pipeline import Output
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.spreads import SpreadPriors

TICK_S = 0.05
"""A beat has a cost however little data there is, and a scan on a page may be 0.1 s old."""
LOOK_EVERY = 10
"""Ticks between two checks for faults."""


class Session:
    """One session of a rig, a rider and a fitter."""

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration,
        clock: SessionClock,
        rider: Rider,
        *,
        storing: Storing | None = None,
        simulated: bool = False,
        recorder: RecordingWriter | None = None,
        on_output: Callable[[Output], None] | None = None,
    ) -> None:
        at = self.acquisition = Acquisition(
            rig, calibration, clock, rider, storing=storing, simulated=simulated, recorder=recorder
        )
        self.occupied = Occupied(
            sweep=lambda: self.sweep.under_way,
            bench=lambda: self.calibrating.readings_due(),
            proof=lambda: self.proving.has_jig(),
        )
        self.zero = ZeroDesk(at, self.occupied)
        self.proving = ProofDesk(at, self.occupied, take_zero=self.zero.take, restore_zero=self.zero.restore)
        self.calibrating = CalibrationDesk(at, self.occupied, put_aside=lambda: self.sweep.put_aside())
        self.visit = VisitDesk(
            self.occupied,
            kept_by=at.kept_by,
            seat=at.seat,
            readings=self._readings,
            other_rider=self._other_rider,
        )
        self.sweep = SweepDesk(
            at,
            self.occupied,
            in_the_way=self.visit.in_the_way,
            stamp=self.calibrating.stamp,
            client_id=lambda: None if self.visit.client is None else self.visit.client.id,
            saddle=lambda: None if self.visit.intake is None else self.visit.intake.saddle,
            tilt_deg=lambda: self.visit.measured.saddle_tilt_deg,
            begun=self.visit.sweep_begun,
            ridden=self.visit.sweep_ended,
        )
        self.outlooks = Outlooks(progress=lambda: at.pipeline.progress, now_us=clock.now_us)
        self.undecided = Undecided(progress=lambda: at.pipeline.progress)
        at.hears_output += [self.outlooks.hear, self.undecided.hear]
        self.priors: SpreadPriors | None = None
        """Initial scatter between days and between sweeps, from another workshop; None: the built-in judgement."""
        self.typed = TypedDesk(
            rig,
            clock,
            self.occupied,
            progress=lambda: self.sweep.progress,
            effort_at=lambda now_s: at.pipeline.sensors.effort_at(now_s),
            accept=at.accept,
            keep=self.calibrating.keep,
        )
        self._watch = Watch(
            troubles=at.troubles,
            doubts=self.zero.doubts,
            taken_by=self.occupied.taken_by,
            status=self.calibrating.status,
            sweep=lambda: self.sweep.id,
            notice=at.notice,
            spoiled=self.sweep.spoiled,
        )
        at.failed = self._watch.failed
        self._on_beat: list[Callable[[], None]] = []
        if on_output is not None:
            at.hears_output.append(on_output)

    def listen(self, *, output: Callable[[Output], None], item: Callable[[], None], beat: Callable[[], None]) -> None:
        """Subscribe to everything derived from the sensors' data, to the end of each item, and to every beat."""
        self.acquisition.hears_output.append(output)
        self.acquisition.hears_item.append(item)
        self._on_beat.append(beat)

    async def run(self) -> None:
        """Drain the inbox once per tick and do the regular checks, until cancelled."""
        await self.calibrating.load_checks()
        tick = 0
        while True:
            await asyncio.sleep(TICK_S)
            safely(self.acquisition.drain)
            await safely_awaited(self.calibrating.beat())
            tick += 1
            if tick % LOOK_EVERY == 0:
                safely(self._watch.look)
            for beat in self._on_beat:
                safely(beat)

    def _other_rider(self) -> None:
        """Another rider sits on the jig: forget what was found about the previous one."""
        self.zero.forget_holds()
        self.sweep.put_away()

    def _readings(self) -> JigReadings:
        progress = self.sweep.progress
        return readings(
            self.acquisition,
            plan=progress.plan if progress is not None and self.acquisition.ride.under_way else None,
            zero_us=self.zero.taken_us,
            calibration=self.calibrating.status(),
        )
