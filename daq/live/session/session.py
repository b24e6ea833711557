"""One session of the daemon: acquisition and desks put together, and the beat that drives them.

    session > desks > acquisition > sensors, storing, ride

Each knows only what is to its right. What a desk needs of the acquisition it says itself (`Needs`); what it needs of
another desk is passed to it here, as a callable. What reports to people sits above and subscribes (`listen`).
"""

from __future__ import annotations

from collections.abc import Callable

from daq.keep.recording import RecordingWriter
from daq.live.session.acquisition import Acquisition, Rider
from daq.live.session.beat import Beat
from daq.live.session.calibration_desk import CalibrationDesk
from daq.live.session.kept_sweep import KeptSweep
from daq.live.session.occupied import Occupied
from daq.live.session.outlooks import Outlooks
from daq.live.session.placing import Placing
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
        on_output: Callable[[Output], None] = lambda _: None,
    ) -> None:
        at = self.acquisition = Acquisition(
            rig, calibration, clock, rider, storing=storing, simulated=simulated, recorder=recorder
        )
        self.occupied = Occupied(
            sweep=lambda: self.sweep.under_way,
            bench=lambda: self.calibrating.readings_due(),
            proof=lambda: self.proving.has_jig(),
        )
        self.zero = ZeroDesk(at, self.occupied, compensate=lambda: at.sensors.compensate)
        self.proving = ProofDesk(at, self.occupied, take_zero=self.zero.take, restore_zero=self.zero.restore)
        self.calibrating = CalibrationDesk(
            at, self.occupied, greeting=lambda: at.sensors.greeting, put_aside=lambda: self.sweep.put_aside()
        )
        self.visit = VisitDesk(
            self.occupied,
            kept_by=at.kept_by,
            seat=at.seat,
            readings=lambda: readings(
                at, plan=self.sweep.plan, zero_us=self.zero.taken_us, calibration=self.calibrating.status()
            ),
        )
        self.placing = Placing(
            rig.geometry,
            progress=lambda: self.sweep.progress,
            positions=lambda: at.pipeline.positions,
            saddle=self.visit.saddle,
            tilt_deg=self.visit.saddle_tilt_deg,
        )
        kept = KeptSweep(at, client_id=self.visit.client_id, ridden=self.visit.sweep_ended)
        self.sweep = SweepDesk(
            at,
            self.occupied,
            kept,
            self.placing,
            in_the_way=self.visit.in_the_way,
            stamp=self.calibrating.stamp,
            proof=self.calibrating.proof,
            saddle=self.visit.saddle,
            begun=self.visit.sweep_begun,
        )
        self.typed = TypedDesk(
            rig,
            clock,
            self.occupied,
            progress=lambda: self.sweep.progress,
            effort_at=lambda now_s: at.pipeline.sensors.effort_at(now_s),
            accept=at.accept,
            keep=self.calibrating.keep,
        )
        self.outlooks = Outlooks(progress=lambda: at.pipeline.progress, now_us=clock.now_us)
        self.undecided = Undecided(progress=lambda: at.pipeline.progress)
        self.priors: SpreadPriors | None = None
        """Initial scatter between days and between sweeps, from another workshop; None: the built-in judgement."""
        watch = Watch(
            troubles=at.troubles,
            doubts=self.zero.doubts,
            taken_by=self.occupied.taken_by,
            status=self.calibrating.status,
            sweep=lambda: self.sweep.id,
            notice=at.notice,
            spoiled=self.sweep.spoiled,
        )
        self._beat = Beat(drain=at.drain, work=self.calibrating.beat, look=watch.look)
        at.failed = watch.failed
        at.hears_scans.append(self.calibrating.hear)
        at.hears_output += [kept.hear, self.outlooks.hear, self.undecided.hear, on_output]
        at.hears_item.append(self.sweep.close_when_ended)
        self.visit.hears_other_rider += [self.zero.forget_holds, self.sweep.put_away]

    def listen(self, *, output: Callable[[Output], None], item: Callable[[], None], beat: Callable[[], None]) -> None:
        """Subscribe to everything derived from the sensors' data, to the end of each item, and to every beat."""
        self.acquisition.hears_output.append(output)
        self.acquisition.hears_item.append(item)
        self._beat.hears.append(beat)

    async def run(self) -> None:
        """Drive the session until cancelled."""
        await self.calibrating.load_checks()
        await self._beat.run()
