"""The calibration on a session: how it stands, what makes loads doubtful, the daily check, and the bench."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from daq.keep.errors import StoreError
from daq.keep.store import Store, calibrations
from daq.live.bench.desk import BenchDesk, new_bench, taken_up
from daq.live.bench.power import PowerOn
from daq.live.bench.standing import stamp, standing_of
from daq.live.bench.wanted import Wanted, setup_of
from daq.live.bench.weight_check import u_weight_n, weight_check
from daq.live.session.storing import Storing
from daq.live.telling import messages, view
from daq.measure.calibration import Calibration, apply, in_order
from daq.measure.calibration.board import board_of
from daq.measure.calibration.doubts import Doubtful, doubts_of_loads, doubts_of_zero
from daq.measure.calibration.validity import SensitivityCheck, Validity
from daq.measure.calibration.weights import Weights
from daq.measure.zero import PARTS, Zero
from daq.sweep.run import NotNow
from daq.values import Samples

if TYPE_CHECKING:
    from daq.live.session.session import Session

T = TypeVar("T")
EMPTY_N = 15.0
"""Cells that all show less, and stand still, are those of an empty jig; nobody rides so light."""
STILL_N = 0.5
HOUR_US = 3.6e9


class CalibrationDesk:
    """Everything about calibration that a session does."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.checks: tuple[SensitivityCheck, ...] = ()
        """Of the calibration in use, oldest first."""
        self.bench: BenchDesk | None = None
        self._told: Validity | None = None
        self._power = PowerOn()

    # --- how it stands ----------------------------------------------------------------------------------------------

    def validity(self) -> Validity:
        """How the calibration in use stands now."""
        session, hello = self._session, self._session.sensors.greeting
        return standing_of(
            session.calibration,
            self.checks,
            utc_now(),
            simulated=session.simulated,
            board=None if hello is None else board_of(asdict(hello)),
        )

    def stamp(self) -> dict[str, Any]:
        """What a sweep that begins now keeps of it."""
        return stamp(self._session.calibration, self.validity())

    def fields(self) -> dict[str, Any]:
        """For the snapshot."""
        found = self.stamp()
        return {**found, "stale": not found["allows_verdict"]}

    def doubts(self) -> tuple[Doubtful, ...]:
        """What makes the loads shown now doubtful."""
        pipeline = self._session.pipeline
        counts = pipeline.recent_counts()
        if len(counts) < 4 * PARTS:
            return ()
        calibration = pipeline.calibration
        mean = counts.mean(axis=0)
        found = doubts_of_loads(calibration, mean.tolist(), _listed(pipeline.zero_counts))
        unused = {channel.name for channel in self._session.rig.channels if channel.role == "unused"}
        return tuple(one for one in (*found, *self._doubts_of_zero(calibration, counts)) if one.channel not in unused)

    def _doubts_of_zero(self, calibration: Calibration, counts: Any) -> tuple[Doubtful, ...]:
        """The zero's age always; its drift while nobody and nothing seems to be on the jig."""
        session = self._session
        zero_us = session.desk.zero_us
        if zero_us is None or not calibration.forces:
            return ()
        zero = session.pipeline.zero_counts
        before = [channel.zero_counts for channel in calibration.channels] if zero is None else zero.tolist()
        hours = (session.clock.now_us() - zero_us) / HOUR_US
        forces = [j for j, channel in enumerate(calibration.channels) if channel.kind == "force"]
        parts = np.array([part.mean(axis=0) for part in np.array_split(counts, PARTS)])
        loads_n = apply(calibration, parts, before)[:, forces]
        empty = bool((np.abs(loads_n) < EMPTY_N).all() and (np.ptp(loads_n, axis=0) < STILL_N).all())
        now = counts.mean(axis=0).tolist() if empty else before
        return doubts_of_zero(calibration, before, now, hours=hours)

    def drifted(self, zero: Zero) -> tuple[Doubtful, ...]:
        """Cells whose zero has moved since the last one was taken; none before the first."""
        session = self._session
        if session.desk.zero_us is None or session.pipeline.zero_counts is None:
            return ()
        calibration = session.pipeline.calibration
        return doubts_of_zero(calibration, session.pipeline.zero_counts.tolist(), zero.counts, hours=0.0)

    def tell(self) -> None:
        """Tell the pages when the calibration's standing has changed by itself: a day is over, a year is over."""
        now = self.validity()
        if self._told is not None and now.standing is not self._told.standing:
            self._session.note("info" if now.allows_verdict else "caution", now.sentence)
            self._session.hub.send(view.snapshot(self._session))
        self._told = now

    # --- the daily check --------------------------------------------------------------------------------------------

    async def load_checks(self) -> None:
        """Know the checks that were made of the calibration in use."""
        if self._session.storing is not None:
            calibration = self._session.calibration
            try:
                self.checks = await self.ask(lambda store: calibrations.checks(store, calibration))
            except StoreError as error:
                self._session.note("caution", f"the checks of the calibration cannot be read: {error}")

    async def check(self, *, on: str, load_n: float, weights: Weights, u_gravity_relative: float) -> SensitivityCheck:
        """One weight on a cell, on the bar or the saddle, kept whatever it says. NotNow during a sweep."""
        session = self._session
        session.refuse_during_sweep("a weight is put on to check the cells")
        session.drain()
        pipeline = session.pipeline
        made = weight_check(
            session.rig,
            pipeline.calibration,
            pipeline.recent_counts(),
            pipeline.zero_counts,
            on=on,
            load_n=load_n,
            u_load_n=u_weight_n(load_n, weights, u_gravity_relative),
            at_utc=utc_now(),
        )
        await self.ask(lambda store: calibrations.add_check(store, session.calibration, made))
        self.checks = (*self.checks, made)
        session.note("info" if made.passed else "alarm", made.sentence)
        session.hub.send(view.snapshot(session))
        return made

    # --- the bench --------------------------------------------------------------------------------------------------

    async def begin_bench(self, wanted: Wanted) -> BenchDesk:
        """A new guided calibration. NotNow during a sweep or another one, and before the board has said hello."""
        self.refuse_during_bench("another is begun")
        session, hello = self._session, self._session.sensors.greeting
        session.refuse_during_sweep("the cells are calibrated")
        if hello is None:
            raise NotNow(f"the {session.sensors.loads_from} has sent nothing usable yet; see its cable and power")
        setup = setup_of(wanted, session.rig, hello, session.calibration, simulated=session.simulated)
        storing = self._storing()
        on_for_s = max(60.0 * wanted.on_for_min, self._power.on_s)
        self.bench = await new_bench(self.ask, storing.session_id, setup, on_for_s=on_for_s)
        return self.bench

    async def take_up_bench(self, *, on_for_min: float = 0.0) -> BenchDesk:
        """Go on with the guided calibration that was left in the middle. NotNow when there is none."""
        self.refuse_during_bench("another is taken up")
        self._session.refuse_during_sweep("the cells are calibrated")
        on_for_s = max(60.0 * on_for_min, self._power.on_s)
        found = await taken_up(self.ask, self._session.pipeline.channels, on_for_s=on_for_s)
        if found is None:
            raise NotNow("no guided calibration of this board was left in the middle; begin a new one")
        self.bench = found
        return found

    def under_way(self) -> BenchDesk:
        """The bench. NotNow without one."""
        if self.bench is None:
            raise NotNow("no guided calibration is under way; begin one")
        return self.bench

    def leave_bench(self) -> None:
        """Put the bench aside; it can be taken up again."""
        self.under_way()
        self.bench = None
        self.tell_bench()

    def refuse_during_bench(self, what: str) -> None:
        """NotNow while readings of a guided calibration are due; what: that which has to wait."""
        if self.bench is not None and self.bench.bench.task is not None:
            raise NotNow(f"a guided calibration is under way; finish, stop or leave it before {what}")

    async def use(self, name: str) -> Calibration:
        """From now on loads are computed with this calibration of the store. NotNow during a sweep or a bench."""
        session = self._session
        session.refuse_during_sweep("another calibration is taken")
        self.refuse_during_bench("another calibration is taken")
        found = (await self.ask(lambda store: calibrations.found(store, name))).calibration
        in_order(found, [channel.name for channel in session.rig.channels])
        session.use_calibration(found)
        await self.load_checks()
        session.note("info", f"calibration {found.id} is in use; name its file in the rig file to have it next time")
        session.hub.send(view.snapshot(session))
        return found

    def feed(self, samples: Samples) -> None:
        """Scans of the board, for a bench."""
        greeting = self._session.sensors.greeting
        self._power.feed(samples, None if greeting is None else greeting.boot)
        if self.bench is not None:
            self.bench.feed(samples)

    async def beat(self) -> None:
        """Go on with a reading that is complete."""
        if self.bench is not None and await self.bench.beat():
            self.tell_bench()

    def bench_fields(self) -> dict[str, Any] | None:
        """The bench as a page shows it; None without one."""
        return None if self.bench is None else self.bench.fields()

    def tell_bench(self) -> None:
        """Show the bench on every page, or that there is none any more."""
        self._session.hub.send(messages.text("bench", bench=self.bench_fields()))

    async def ask(self, use: Callable[[Store], T]) -> T:
        """Run use(store). NotNow when nothing is stored here; StoreError."""
        return await self._storing().call(use)

    def _storing(self) -> Storing:
        if self._session.storing is None:
            raise NotNow("nothing is stored in this session, so no calibration can be kept")
        return self._session.storing


def _listed(counts: Any) -> Any:
    return None if counts is None else counts.tolist()


def utc_now() -> str:
    """The wall clock, ISO 8601 in UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
