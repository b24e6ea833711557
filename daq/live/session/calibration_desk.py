"""The calibration in use: its status, the daily check, and the bench on which a new one is made."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any, Protocol, TypeVar

from daq.items import CHECKED
from daq.keep.errors import StoreError
from daq.keep.store import Store, calibrations
from daq.live.bench.desk import BenchDesk, new_bench, taken_up
from daq.live.bench.power import PowerOn
from daq.live.bench.standing import BY_ITS_MAKER, stamp, standing_of, utc_now
from daq.live.bench.wanted import Wanted, setup_of
from daq.live.bench.weight_check import u_weight_n, weight_check
from daq.live.session.cells import Cells
from daq.live.session.listening import log
from daq.live.session.occupied import Occupied
from daq.live.session.sensors import nothing_yet
from daq.measure.calibration import Calibration, in_order
from daq.measure.calibration.board import board_of
from daq.measure.calibration.status import CalibrationStatus, SensitivityCheck
from daq.measure.calibration.weights import Weights
from daq.proof.standing import ProofStanding, proof_standing
from daq.refusals import NotNow, See
from daq.rig import Rig
from daq.sweep.typed.moments import SETTLES_IN
from daq.sweep.validity.grade import SCALES
from daq.values import Samples
from daq.wire.board import HelloBody

T = TypeVar("T")


class Needs(Protocol):
    """What this desk needs of the acquisition."""

    rig: Rig
    calibration: Calibration
    simulated: bool

    @property
    def pipeline(self) -> Cells: ...
    def drain(self) -> None: ...
    async def accept(self, kind: str, content: dict[str, Any]) -> None: ...
    def session_id(self) -> int: ...
    async def ask(self, use: Callable[[Store], T]) -> T: ...
    def use(self, calibration: Calibration) -> None: ...
    def notice(self, level: str, text: str, *, see: See | None = None) -> None: ...


class CalibrationDesk:
    """Everything a session does about calibration."""

    def __init__(
        self,
        at: Needs,
        occupied: Occupied,
        *,
        greeting: Callable[[], HelloBody | None],
        put_aside: Callable[[], None],
    ) -> None:
        """greeting: the board's latest hello. put_aside: ends a sweep that is set up, before another calibration is
        used."""
        self._at, self._occupied, self._greeting, self._put_aside = at, occupied, greeting, put_aside
        self.checks: tuple[SensitivityCheck, ...] = ()
        """Of the calibration in use, oldest first."""
        self.bench: BenchDesk | None = None
        self._power = PowerOn()
        self._last: tuple[tuple[object, ...], CalibrationStatus] | None = None
        """What the last status rested on, and the status."""

    # --- how it stands ----------------------------------------------------------------------------------------------

    def status(self) -> CalibrationStatus:
        """The status of the calibration in use. Asked several times a beat, so it is worked out once a second, and
        whenever calibration, checks or board are others."""
        calibration, checks, hello, now_utc = self._at.calibration, self.checks, self._greeting(), utc_now()
        rests_on = (calibration, checks, hello, now_utc)
        if self._last is None or self._last[0] != rests_on:
            board = None if hello is None else board_of(asdict(hello))
            rig = self._at.rig
            checked = BY_ITS_MAKER
            if rig.typed is not None:
                scale, checks = waits_longest(checks, [role for role in SCALES if rig.columns(role)])
                checked = f"the scale at the {scale}"
            simulated = self._at.simulated
            found = standing_of(calibration, checks, now_utc, simulated=simulated, board=board, checked=checked)
            self._last = rests_on, found
        return self._last[1]

    def stamp(self) -> dict[str, Any]:
        """What a sweep that begins now stores about it."""
        return stamp(self._at.calibration, self.status()) | damping_of(self.checks)

    def proof(self) -> ProofStanding:
        """How the jig's proof stands with it."""
        at = self._at
        return proof_standing(at.rig, at.calibration.id, utc_now(), simulated=at.simulated)

    # --- the daily check --------------------------------------------------------------------------------------------

    async def load_checks(self) -> None:
        """Load the checks made of the calibration in use; none, and told, if they cannot be read."""
        self.checks, calibration = (), self._at.calibration
        try:
            self.checks = await self._at.ask(lambda store: calibrations.checks(store, calibration))
        except NotNow:  # nothing is stored in this session
            return
        except Exception as error:  # of ours too: the session needs none of them
            if not isinstance(error, StoreError):
                log.exception("the checks of the calibration failed")
            self._at.notice("caution", f"the checks of the calibration cannot be read: {error}", see="bench")

    async def check(self, *, on: str, load_n: float, weights: Weights, u_gravity_relative: float) -> SensitivityCheck:
        """Check with one weight on a cell, on the bar or the saddle; the result is stored whatever it is. NotNow during
        a sweep."""
        self._occupied.refuse("a weight is put on to check the cells", by=("sweep",))
        self._at.drain()
        pipeline = self._at.pipeline
        made = weight_check(
            self._at.rig,
            pipeline.calibration,
            pipeline.recent_counts(),
            pipeline.zero_counts,
            on=on,
            load_n=load_n,
            u_load_n=u_weight_n(load_n, weights, u_gravity_relative),
            at_utc=utc_now(),
        )
        await self.keep(made)
        return made

    async def keep(self, made: SensitivityCheck) -> None:
        """Keep a check of the calibration in use, whatever it says."""
        calibration = self._at.calibration
        if not made.passed:
            self._at.notice("alarm", made.sentence, see=None if self._at.rig.typed else "bench")
        await self._at.ask(lambda store: calibrations.add_check(store, calibration, made))
        self.checks = (*self.checks, made)
        await self._at.accept(CHECKED, self.stamp())
        if made.passed:
            self._at.notice("info", made.sentence)

    # --- the bench --------------------------------------------------------------------------------------------------

    async def begin_bench(self, wanted: Wanted) -> BenchDesk:
        """Begin a new guided calibration. NotNow during a sweep or another calibration, and before the board's
        hello."""
        self._occupied.refuse("the cells are calibrated")
        at, hello = self._at, self._greeting()
        if hello is None:
            raise nothing_yet(at.rig)
        setup = setup_of(wanted, at.rig, hello, at.calibration, simulated=at.simulated)
        on_for_s = max(60.0 * wanted.on_for_min, self._power.on_s)
        self.bench = await new_bench(at.ask, at.session_id(), setup, on_for_s=on_for_s)
        return self.bench

    async def take_up_bench(self, *, on_for_min: float = 0.0) -> BenchDesk:
        """Resume the unfinished guided calibration. NotNow if there is none."""
        self._occupied.refuse("the cells are calibrated")
        on_for_s = max(60.0 * on_for_min, self._power.on_s)
        found = await taken_up(self._at.ask, self._at.pipeline.channels, on_for_s=on_for_s)
        if found is None:
            raise NotNow("no guided calibration of this board was left in the middle; begin a new one", see="bench")
        self.bench = found
        return found

    def under_way(self) -> BenchDesk:
        """The bench. NotNow without one."""
        if self.bench is None:
            raise NotNow("no guided calibration is under way; begin one", see="bench")
        return self.bench

    def leave_bench(self) -> None:
        """Leave the bench; it can be resumed."""
        self.under_way()
        self.bench = None

    def readings_due(self) -> bool:
        """Whether a guided calibration is using the jig."""
        return self.bench is not None and self.bench.bench.task is not None

    async def use(self, name: str) -> Calibration:
        """From now on compute loads with this calibration from the store. NotNow during a sweep or a bench."""
        self._occupied.refuse("another calibration is taken")
        found = (await self._at.ask(lambda store: calibrations.found(store, name))).calibration
        in_order(found, [channel.name for channel in self._at.rig.channels])
        self._put_aside()
        self._at.use(found)
        await self.load_checks()
        self._at.notice("info", f"calibration {found.id} is in use; name its file in the rig file to have it next time")
        return found

    def hear(self, samples: Samples) -> None:
        """Pass scans of the board to the bench."""
        greeting = self._greeting()
        self._power.feed(samples, None if greeting is None else greeting.boot)
        if self.bench is not None:
            self.bench.feed(samples)

    async def beat(self) -> None:
        """Process a reading that is complete. If the store does not take it, which is told as the store's trouble, the
        next beat tries again."""
        if self.bench is not None:
            with contextlib.suppress(StoreError):
                await self.bench.beat()


def damping_of(checks: Sequence[SensitivityCheck]) -> dict[str, Any]:
    """Time constants of the displays, s, by scale, as the latest checks found them; empty where nobody was asked."""
    told = {one.channel: one.settles_s / SETTLES_IN for one in checks if one.settles_s is not None}
    return {"damping_s": told} if told else {}


def waits_longest(
    checks: tuple[SensitivityCheck, ...], scales: Sequence[str]
) -> tuple[str, tuple[SensitivityCheck, ...]]:
    """The scale whose check matters most, and its checks: one that failed, else the one checked longest ago."""
    last = {check.channel: check for check in checks}
    failed = [scale for scale in scales if scale in last and not last[scale].passed]
    counts = next(iter(failed), min(scales, key=lambda one: last[one].checked_utc if one in last else ""))
    return counts, tuple(check for check in checks if check.channel == counts)
