"""The demo: a simulated rider on a simulated jig, on the real input paths, and a fitter who follows the plan."""

from __future__ import annotations

import asyncio
import contextlib
import math
import signal
import socket
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from daq import __version__
from daq.keep.json_text import plain
from daq.keep.recording import RecordingWriter
from daq.keep.store import Store
from daq.live.daemon import serve
from daq.live.links import Link, links_of
from daq.live.real import begin
from daq.live.session.acquisition import Rider
from daq.live.session.session import Session
from daq.measure.calibration import CalibratedChannel, Calibration, Term, TiltTare, Uncertainty, to_dict
from daq.pipeline import Output
from daq.refusals import NotNow
from daq.rider.electronics import CELLS, Electronics
from daq.rider.jig import SimulatedJig
from daq.rider.jig_geometry import JigGeometry
from daq.rider.model import DEMO, rider_of_kind, rider_with
from daq.rider.named import asked_for
from daq.rider.position_sensors import SENSORS, places_of
from daq.rider.truth import LABEL
from daq.rig_file import parse_rig
from daq.sources.clock import SessionClock
from daq.sources.reference_bench import Built
from daq.sources.reference_board import DEGREES_PER_COUNT, ReferenceBoard
from daq.sources.simulator import SimulatedBoard
from daq.sweep.plan import Plan, out_and_back
from daq.sweep.run import ENDED, State, Trigger

MOVING_S = 4.0
"""Session time the simulated fitter needs to move the saddle."""
LOOK_EVERY_S = 0.02
PATIENCE_S = 180.0
"""Session time after which the simulated fitter gives up on a position whose step does not end: with a saturated cell,
no stroke counts."""
BEAT_AT_MOST_S = 0.5
"""Session time the simulation advances at once."""
PLAN = Plan(positions_mm=out_and_back(80.0, 30.0, 11), power_w=DEMO.power_w, cadence_rpm=DEMO.cadence_rpm)
RIDER = "SIM-0001"
ROLES = ("hands", "saddle", "tilt")
POSITIONS = "positions"
"""The role of the encoders at saddle and bar, which a jig may have besides."""
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
        wrong: Sequence[str] = (),
        record: Path | None = None,
        on_output: Callable[[Output], None] = lambda _: None,
        reference: Built | None = None,
        roles: Sequence[str] = ROLES,
        moving_s: float = MOVING_S,
    ) -> None:
        """wrong: what is wrong with rider and jig, NAME or NAME=SIZE of daq.rider.named.

        reference: the reference board's own program in the place of the simulated board.
        roles: what the rig reads of the board: hands alone, hands and saddle, the whole jig, with or without positions.
        moving_s: session time the fitter needs to move the saddle: the rider tires over the whole ride, from the first
        step on where a fitter rides by hand, who takes his time before it.
        ValueError for a kind of rider or a name there is not, a fault of a sensor that is not there, and the reference
        board with positions, which it has no channels for; FileExistsError rather than overwrite a recording.
        """
        self.wrong = asked_for(wrong)
        self._reads_positions = POSITIONS in roles
        _refuse_contradictions(wrong, reads_positions=self._reads_positions, reference=reference is not None)
        model = rider_with(rider_of_kind(kind), self.wrong)
        self.plan = replace(PLAN, blinded=model.confounds.blinded)
        model = replace(model, confounds=replace(model.confounds, fatigue_over_s=ridden_s(self.plan, moving_s)))
        self._gradient_pct = 0.0
        self._moving, self._moving_s, self._by_hand = False, moving_s, True
        self._power_told = model.confounds.power_told
        clock = SessionClock(pace=pace, at_most_s=BEAT_AT_MOST_S)
        self.jig = SimulatedJig(model, rng=np.random.default_rng(seed), reads_positions=self._reads_positions)
        electronics = self.jig.electronics
        if reference is None:
            self.board: SimulatedBoard | ReferenceBoard = SimulatedBoard(
                self.jig,
                clock,
                on_notification=self._notified,
                before_beat=self._set_jig,
                reads_positions=self._reads_positions,
            )
            calibration = calibration_of(electronics, tared="tilt" in roles)
        else:
            self.board = ReferenceBoard(
                reference,
                self.jig,
                clock,
                rng=np.random.default_rng(seed + 1),
                on_notification=self._notified,
                before_beat=self._set_jig,
            )
            calibration = calibration_of(electronics, tilt_zero=0.0, degrees_per_count=DEGREES_PER_COUNT)
        rig_text = rig_text_of(self.jig.geometry, self.board.port, roles)
        rig = parse_rig(rig_text)
        header = {
            "rig": rig_text,
            "calibration": to_dict(calibration),
            "plan": plain(self.plan),
            "simulated": True,
            "provenance": f"{LABEL}; foreaft {__version__} demo, kind {kind}{''.join(f', {word}' for word in wrong)}, "
            f"seed {seed}, pace {pace:g}",
            "truth": self.truth_fields(),
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

    def truth_fields(self) -> dict[str, object]:
        """What a perfect instrument would find, as it stands beside an estimate, and what is in an instrument's way."""
        truth = self.jig.truth()
        return {
            "label": truth.label,
            "kind": truth.kind,
            "onset_mm": truth.onset_mm,
            "added_slope_n_per_mm": truth.added_slope_n_per_mm,
            "light_slope_n_per_mm": truth.light_slope_n_per_mm,
            "confounds": [
                {"name": each.named.name, "size": each.size, "unit": each.named.unit, "what": each.sentence}
                for each in self.wrong
            ],
        }

    async def run(
        self, listener: socket.socket | None, *, by_hand: bool, when_done: Callable[[], None]
    ) -> signal.Signals | None:
        """Ride the plan; with a listener, stay up afterwards until a signal, which is returned."""

        async def ride() -> None:
            await (self.wait_for_end() if by_hand else follow_plan(self.session, self.plan))
            when_done()
            if listener is not None:
                await asyncio.Event().wait()

        self._by_hand = by_hand
        return await self.run_until(listener, ride())

    async def run_until(
        self, listener: socket.socket | None, until: Coroutine[Any, Any, None]
    ) -> signal.Signals | None:
        """Serve the jig until this is done or a signal comes, which is returned."""
        if self._by_hand:
            self.jig.tire(math.inf, ridden_s(self.plan, self._moving_s))
        links: list[Link] = [self.board.run, *links_of(self.session)]
        try:
            return await serve(self.session, links, listener=listener, until=until)
        finally:
            if self._recorder is not None:
                self._recorder.close()

    async def wait_for_end(self) -> None:
        """Return when a sweep has ended."""
        while self.session.sweep.progress is None or self.session.sweep.progress.state not in ENDED:
            await asyncio.sleep(LOOK_EVERY_S)

    def _notified(self, received_us: int, characteristic: str, payload: bytes) -> None:
        if self._power_told:
            self.session.acquisition.sensors.arrive_notification(received_us, characteristic, payload)

    def _set_jig(self) -> None:
        """The rider mounts when a sweep is set up and dismounts when it has ended; saddle and tilt follow the fitter.

        Encoders read where the saddle stands before the fitter confirms it; without them it stands where he says.
        """
        progress = self.session.sweep.progress
        self.jig.set_aboard(self.session.acquisition.ride.under_way)
        if progress is None:
            return
        if progress.plan.gradient_pct != self._gradient_pct:
            self._gradient_pct = progress.plan.gradient_pct
            self.jig.set_gradient(self._gradient_pct)
        moving = progress.state is State.MOVING
        begins, ends = moving and not self._moving, self._moving and progress.state is State.SETTLING
        put_mm = progress.asked_setback_mm if self._reads_positions else progress.setback_mm
        if put_mm is not None and (begins if self._reads_positions else ends):
            self.jig.place_saddle(put_mm)
        if ends and self._by_hand and not progress.ridden:
            self.jig.tire(self.jig.t_s, ridden_s(progress.plan, self._moving_s))
        self._moving = moving


async def follow_plan(session: Session, plan: Plan) -> None:
    """Ride the plan from the first position to the end, like a fitter who does what the screen says."""
    while True:
        with contextlib.suppress(NotNow):
            await session.sweep.begin(plan)
            break
        await asyncio.sleep(LOOK_EVERY_S)
    await session.sweep.fitter(Trigger.BEGIN)
    clock = session.acquisition.clock
    came_us = clock.now_us()
    while (progress := session.sweep.progress) is not None and progress.state not in ENDED:
        if progress.state is State.MOVING and progress.asked_setback_mm is not None:
            await asyncio.sleep(MOVING_S / session.acquisition.clock.pace)
            asked_mm = progress.asked_setback_mm
            typed_mm = asked_mm if session.acquisition.pipeline.positions.doubt(asked_mm) else None
            with contextlib.suppress(NotNow):
                await session.sweep.fitter(Trigger.SADDLE_MOVED, typed_mm, setting={})
            came_us = clock.now_us()
        elif clock.now_us() - came_us > PATIENCE_S * 1e6:
            await session.sweep.fitter(Trigger.ENOUGH)
        await asyncio.sleep(LOOK_EVERY_S)


def ridden_s(plan: Plan, moving_s: float = MOVING_S) -> float:
    """Roughly how long a plan takes with so much session time to move the saddle."""
    return len(plan.positions_mm) * (moving_s + plan.settle_s + plan.dwell_s)


def _refuse_contradictions(wrong: Sequence[str], *, reads_positions: bool, reference: bool) -> None:
    """ValueError for what cannot be simulated together."""
    of_slide = [word for word in wrong if word.startswith("slide-")]
    if of_slide and not reads_positions:
        raise ValueError(f"{of_slide[0]}: this jig has no position sensors; add --measures with-positions")
    if reference and reads_positions:
        raise ValueError("the reference board has no channels for position sensors: take the simulated board for them")


def rig_text_of(at: JigGeometry, port: str, roles: Sequence[str] = ROLES) -> str:
    """The rig file of a simulated jig, as a person would write it, with the channels of these roles."""
    bar_mm, saddle_y_mm = (at.bar_x_m * 1e3, at.bar_y_m * 1e3), at.saddle_y_m * 1e3
    nose_mm, rear_mm = (-at.nose_cell_behind_mm, saddle_y_mm), (-at.rear_cell_behind_mm, saddle_y_mm)
    lines = [f'name = "simulated jig"\n[board]\nport = "{port}"']
    for name, (x_mm, y_mm) in zip(CELLS, (bar_mm, bar_mm, nose_mm, rear_mm), strict=True):
        role = name.split("_")[0]
        if role in roles:
            lines.append(f'[[channels]]\nname = "{name}"\nrole = "{role}"\nx_mm = {x_mm:.1f}\ny_mm = {y_mm:.1f}')
    if "tilt" in roles:
        lines.append('[[channels]]\nname = "tilt"\nrole = "tilt"')
    if POSITIONS in roles:
        lines += [_position_text(name, role) for name, role in SENSORS.items()]
    lines.append("[geometry]")
    lines.append(f"bar_x_m = {at.bar_x_m}\nbar_y_m = {at.bar_y_m}\nsaddle_y_m = {at.saddle_y_m}")
    return "\n".join(lines) + "\n"


def _position_text(name: str, role: str) -> str:
    places = [list(place) for place in places_of(role)]
    return f'[[positions]]\nname = "{name}"\nrole = "{role}"\nplaces = {places}\nu_mm = 0.3'


def calibration_of(
    electronics: Electronics,
    *,
    tilt_zero: float | None = None,
    degrees_per_count: float | None = None,
    tared: bool = True,
) -> Calibration:
    """The calibration that fits the simulated cells exactly, including the weight of the tilted fixture. tilt_zero,
    degrees_per_count: for a tilt sensor other than the simulated board's. tared: with the tilt channel; on a rig
    without one, for a level jig.
    """
    tilt_zero = electronics.zero_counts[-1] if tilt_zero is None else tilt_zero
    per_deg = degrees_per_count or electronics.degrees_per_count
    forces = (
        CalibratedChannel(
            name, "force", (0.0, slope), zero, uncertainty=BUDGET, tare=TiltTare(0.0, cosine_n, sine_n, TARED_DEG)
        )
        for name, slope, zero, cosine_n, sine_n in zip(
            CELLS,
            electronics.newtons_per_count,
            electronics.zero_counts[:-1],
            electronics.fixture_cos_n,
            electronics.fixture_sin_n,
            strict=True,
        )
    )
    if not tared:
        level = (
            replace(force, tare=None, zero_counts=zero + cosine_n / slope)
            for force, zero, cosine_n, slope in zip(
                forces,
                electronics.zero_counts[:-1],
                electronics.fixture_cos_n,
                electronics.newtons_per_count,
                strict=True,
            )
        )
        return Calibration("simulated", "2026-01-01T00:00:00+00:00", tuple(level), simulated=True)
    tilt = CalibratedChannel("tilt", "tilt", (-tilt_zero * per_deg, per_deg), tilt_zero)
    return Calibration("simulated", "2026-01-01T00:00:00+00:00", (*forces, tilt), simulated=True)
