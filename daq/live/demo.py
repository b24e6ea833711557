"""The demo: a simulated rider on a simulated jig, on the real input paths, and a fitter who follows the plan."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from collections.abc import Callable
from pathlib import Path

import numpy as np

from daq import __version__
from daq.keep.recording import RecordingWriter
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import Link, links_of
from daq.live.real import begin
from daq.live.session.session import Session
from daq.live.telling import messages
from daq.live.telling.view import Rider
from daq.measure.calibration import Calibration, Channel, Term, TiltTare, Uncertainty, to_dict
from daq.pipeline import Output
from daq.rider.electronics import CELLS, Electronics
from daq.rider.jig import SimulatedJig
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, rider_of_kind
from daq.rider.truth import LABEL, Truth
from daq.rig import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.reference_bench import Built
from daq.sources.reference_board import DEGREES_PER_COUNT, ReferenceBoard
from daq.sources.simulator import SimulatedBoard
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import ENDED, Event, NotNow, State

MOVING_S = 4.0
"""Session time the simulated fitter takes to move the saddle."""
LOOK_EVERY_S = 0.02
BEAT_AT_MOST_S = 0.25
"""Session time the simulated ride goes on at once."""
PLAN = Plan(positions_mm=out_and_back(80.0, 30.0, 11), power_w=DEMO.power_w, cadence_rpm=DEMO.cadence_rpm)
RIDER = "SIM-0001"
TARED_DEG = (-2.0, 6.0)
BUDGET = Uncertainty((Term("simulated cell", absolute_n=0.2, relative=5e-4, note="of our own choosing"),))


class Demo:
    """One demo: jig, board, session, and the fitter who rides the plan."""

    def __init__(
        self,
        store: Store,
        *,
        kind: str,
        seed: int,
        pace: float,
        record: Path | None = None,
        on_output: Callable[[Output], None] = lambda _: None,
        reference: Built | None = None,
    ) -> None:
        """ValueError for a kind of rider there is not; FileExistsError rather than overwrite a recording.

        reference: the reference board's own program in the place of the simulated board.
        """
        self.plan = PLAN
        self._gradient_pct = 0.0
        model = rider_of_kind(kind)
        clock = SessionClock(pace=pace, at_most_s=BEAT_AT_MOST_S)
        self._jig = SimulatedJig(model, rng=np.random.default_rng(seed))
        electronics = self._jig.electronics
        if reference is None:
            self._board: SimulatedBoard | ReferenceBoard = SimulatedBoard(
                self._jig, clock, on_notification=self._notified, before_beat=self._set_jig
            )
            calibration = calibration_of(electronics)
        else:
            self._board = ReferenceBoard(
                reference,
                self._jig,
                clock,
                rng=np.random.default_rng(seed + 1),
                on_notification=self._notified,
                before_beat=self._set_jig,
            )
            calibration = calibration_of(electronics, tilt_zero=0.0, degrees_per_count=DEGREES_PER_COUNT)
        rig_text = rig_text_of(self._jig.geometry, self._board.port)
        rig = parse_rig(rig_text)
        header = {
            "rig": rig_text,
            "calibration": to_dict(calibration),
            "plan": messages.plain(self.plan),
            "simulated": True,
            "provenance": f"{LABEL}; foreaft {__version__} demo, kind {kind}, seed {seed}, pace {pace:g}",
            "truth": truth_fields(self.truth()),
        }
        self._recorder = None if record is None else RecordingWriter(record, header)
        self.session = Session(
            rig,
            calibration,
            clock,
            Rider(RIDER, model.body.mass_kg),
            storing=begin(store, rig_text=rig_text, calibration=calibration, simulated=True, clock=clock),
            simulated=True,
            recorder=self._recorder,
            on_output=on_output,
        )

    def truth(self) -> Truth:
        """What a perfect instrument would find."""
        return self._jig.truth()

    async def run(
        self, listener: socket.socket | None, *, by_hand: bool, when_done: Callable[[], None]
    ) -> signal.Signals | None:
        """Ride the plan; with a listener stay up afterwards until a signal, which is returned."""

        async def ride() -> None:
            await (self._wait_for_end() if by_hand else follow_plan(self.session, self.plan))
            when_done()
            if listener is not None:
                await asyncio.Event().wait()

        links: list[Link] = [self._board.run, *links_of(self.session)]
        try:
            return await serve(self.session, links, listener=listener, until=ride())
        finally:
            if self._recorder is not None:
                self._recorder.close()

    async def _wait_for_end(self) -> None:
        while self.session.progress is None or self.session.progress.state not in ENDED:
            await asyncio.sleep(LOOK_EVERY_S)

    def _notified(self, received_us: int, characteristic: str, payload: bytes) -> None:
        self.session.sensors.arrive_notification(received_us, characteristic, payload)

    def _set_jig(self) -> None:
        """The rider mounts when a sweep is set up and gets off when it has ended; saddle and tilt follow the fitter."""
        progress = self.session.progress
        self._jig.set_aboard(progress is not None and not self.session.ended)
        if progress is None:
            return
        if progress.plan.gradient_pct != self._gradient_pct:
            self._gradient_pct = progress.plan.gradient_pct
            self._jig.set_gradient(self._gradient_pct)
        if progress.setback_mm is not None:
            self._jig.set_setback(progress.setback_mm)


async def follow_plan(session: Session, plan: Plan) -> None:
    """Ride the plan from the first position to the end, as a fitter would who does what the screen says."""
    while True:
        with contextlib.suppress(NotNow):
            await session.begin_sweep(plan)
            break
        await asyncio.sleep(LOOK_EVERY_S)
    await session.fitter(Event.BEGIN)
    while (progress := session.progress) is not None and progress.state not in ENDED:
        if progress.state is State.MOVING and progress.asked_setback_mm is not None:
            await asyncio.sleep(MOVING_S / session.clock.pace)
            with contextlib.suppress(NotNow):
                await session.fitter(Event.SADDLE_MOVED, progress.asked_setback_mm)
        await asyncio.sleep(LOOK_EVERY_S)


def truth_fields(truth: Truth) -> dict[str, object]:
    """The truth as it stands beside an estimate."""
    return {
        "label": truth.label,
        "kind": truth.kind,
        "onset_mm": truth.onset_mm,
        "added_slope_n_per_mm": truth.added_slope_n_per_mm,
        "light_slope_n_per_mm": truth.light_slope_n_per_mm,
    }


def rig_text_of(at: JigGeometry, port: str) -> str:
    """The rig file of a simulated jig, as a person would write it."""
    bar_mm, saddle_y_mm = (at.bar_x_m * 1e3, at.bar_y_m * 1e3), at.saddle_y_m * 1e3
    nose_mm, rear_mm = (-at.nose_cell_behind_mm, saddle_y_mm), (-at.rear_cell_behind_mm, saddle_y_mm)
    lines = [f'name = "simulated jig"\n[board]\nport = "{port}"']
    for name, (x_mm, y_mm) in zip(CELLS, (bar_mm, bar_mm, nose_mm, rear_mm), strict=True):
        role = name.split("_")[0]
        lines.append(f'[[channels]]\nname = "{name}"\nrole = "{role}"\nx_mm = {x_mm:.1f}\ny_mm = {y_mm:.1f}')
    lines.append('[[channels]]\nname = "tilt"\nrole = "tilt"\n[geometry]')
    lines.append(f"bar_x_m = {at.bar_x_m}\nbar_y_m = {at.bar_y_m}\nsaddle_y_m = {at.saddle_y_m}")
    return "\n".join(lines) + "\n"


def calibration_of(
    electronics: Electronics, *, tilt_zero: float | None = None, degrees_per_count: float | None = None
) -> Calibration:
    """The calibration that fits the simulated cells exactly, the weight of the tilted fixture included.

    tilt_zero, degrees_per_count: of another tilt sensor than the simulated board's.
    """
    tilt_zero = electronics.zero_counts[-1] if tilt_zero is None else tilt_zero
    per_deg = degrees_per_count or electronics.degrees_per_count
    forces = (
        Channel(name, "force", (0.0, slope), zero, uncertainty=BUDGET, tare=TiltTare(0.0, cosine_n, sine_n, TARED_DEG))
        for name, slope, zero, cosine_n, sine_n in zip(
            CELLS,
            electronics.newtons_per_count,
            electronics.zero_counts[:-1],
            electronics.fixture_cos_n,
            electronics.fixture_sin_n,
            strict=True,
        )
    )
    tilt = Channel("tilt", "tilt", (-tilt_zero * per_deg, per_deg), tilt_zero)
    return Calibration("simulated", "2026-01-01T00:00:00+00:00", (*forces, tilt), simulated=True)
