"""The zero, taken on the empty jig, and what depends on it: drift, the sum of the loads; also the power sensor's
zero."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Protocol

import numpy as np

from daq.items import ZERO
from daq.live.session.acquisition import Rider
from daq.live.session.backlog import Backlog
from daq.live.session.cells import Cells
from daq.live.session.occupied import Occupied
from daq.measure.calibration import apply
from daq.measure.calibration.doubts import Doubtful, doubts_of_loads, doubts_of_zero
from daq.measure.sum_check import HOLD_S, NotStill, SumCheck, feet_off_check, hold_of
from daq.measure.zero import PARTS, Zero, zero_of
from daq.physics import weight_normal_n
from daq.refusals import NotNow
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.values import Array

FEET_OFF, POWER_ZERO = "feet-off", "power-zero"
EMPTY_N = 15.0
"""If every cell shows less than this and is still, the jig is empty; no rider is that light."""
STILL_N = 0.5
HOUR_US = 3.6e9


class Needs(Protocol):
    """What this desk needs of the acquisition."""

    rig: Rig
    clock: SessionClock
    rider: Rider
    recent: Backlog

    @property
    def pipeline(self) -> Cells: ...
    def drain(self) -> None: ...
    def act(self, kind: str, content: dict[str, Any]) -> None: ...
    async def stored(self) -> None: ...
    def notice(self, level: str, text: str) -> None: ...


class ZeroDesk:
    """When the zero was taken, and the holds with the feet off the pedals since."""

    def __init__(
        self, at: Needs, occupied: Occupied, *, compensate: Callable[[], Callable[[], Awaitable[str]] | None]
    ) -> None:
        """compensate: what has the power sensor find its own zero; it gives None without such a sensor."""
        self._at, self._occupied, self._compensate = at, occupied, compensate
        self._taken_us: int | None = None
        self.holds_n: list[Array] = []
        """Loads of the cells with the feet off the pedals, one entry a hold since the zero."""

    @property
    def taken_us(self) -> int | None:
        """Session time of the zero in use; None while it is the calibration's own."""
        return None if self._at.pipeline.zero_counts is None else self._taken_us

    async def take(self) -> Zero:
        """Take the last seconds' readings as the empty jig's. NotNow during a sweep or a proof; NoZero if the jig is
        not at rest."""
        self._occupied.refuse("a zero is taken, which would shift its steps", by=("sweep", "proof"))
        at = self._at
        at.drain()
        zero = zero_of(at.pipeline.recent_counts(), at.pipeline.calibration)
        drifted = self._drifted(zero)
        at.act(ZERO, {"zero_counts": list(zero.counts)})
        self._taken_us = at.clock.now_us()
        self.forget_holds()
        names = [channel.name for channel in at.pipeline.calibration.forces]
        moved = ", ".join(f"{name} {n:+z.1f}" for name, n in zip(names, zero.moved_n, strict=True))
        for doubt in drifted:
            at.notice("caution", f"since the last zero, {doubt.sentence}")
        await at.stored()
        at.notice("info", f"zero taken; newtons away from the calibration's: {moved}")
        return zero

    async def restore(self, counts: Sequence[float]) -> None:
        """Go on with the zero that a proof was begun with. NotNow in a sweep; ValueError when it is of other cells."""
        self._occupied.refuse("a zero is taken, which would shift its steps", by=("sweep",))
        if len(counts) != len(self._at.pipeline.calibration.channels):
            raise ValueError(f"the zero kept is of {len(counts)} channels: begin anew, with the jig empty")
        self._at.act(ZERO, {"zero_counts": list(counts)})
        self._taken_us = self._at.clock.now_us()
        self.forget_holds()
        await self._at.stored()

    async def hold(self) -> SumCheck:
        """Add up the last seconds, feet off the pedals, together with the earlier holds since the zero. NotNow during a
        sweep and without the rider's mass; NotStill if the rider moves.
        """
        self._occupied.refuse("a hold is taken", by=("sweep",))
        at = self._at
        if at.rider.mass_kg is None:
            raise NotNow("the rider's mass is not known: keep the intake first", see="client")
        at.drain()
        newest = at.recent.last(HOLD_S)
        if not newest:
            raise NotStill("the board sends nothing, so there is nothing to add up")
        cells_n, hands_n, saddle_n, tilts = (
            np.concatenate([getattr(each, name) for each in newest])
            for name in ("cells_n", "hands_n", "saddle_n", "tilt_deg")
        )
        names = at.rig.normal_cells
        hold_n = hold_of(cells_n[:, : len(names)], hands_n, saddle_n)
        holds_n = [*self.holds_n, hold_n]
        weight_n = weight_normal_n(at.rider.mass_kg, float(tilts.mean()), at.rig.g_m_s2)
        found = feet_off_check(np.array(holds_n), names, weight_n)
        at.act(FEET_OFF, {"cells_n": hold_n.tolist(), "said": found.text})
        self.holds_n = holds_n
        await at.stored()
        return found

    def forget_holds(self) -> None:
        """Forget earlier holds: there is a new zero or another rider."""
        self.holds_n = []

    async def compensate_power(self) -> str:
        """Have the power sensor find its own zero, and store its answer. NotNow during a sweep, or without such a
        sensor."""
        self._occupied.refuse("the power sensor's zero is set, which would shift its steps", by=("sweep",))
        compensate = self._compensate()
        if compensate is None:
            raise NotNow("no power sensor is linked whose zero could be set")
        said = await compensate()
        self._at.act(POWER_ZERO, {"said": said})
        await self._at.stored()
        self._at.notice("info", f"power sensor: {said}")
        return said

    def doubts(self) -> tuple[Doubtful, ...]:
        """What makes the loads shown now doubtful."""
        pipeline = self._at.pipeline
        counts, zero = pipeline.recent_counts(), pipeline.zero_counts
        if len(counts) < 4 * PARTS:
            return ()
        mean = counts.mean(axis=0).tolist()
        of_loads = doubts_of_loads(pipeline.calibration, mean, None if zero is None else zero.tolist())
        unused = {channel.name for channel in self._at.rig.channels if channel.role == "unused"}
        return tuple(one for one in (*of_loads, *self._of_zero(counts)) if one.channel not in unused)

    def _of_zero(self, counts: Array) -> tuple[Doubtful, ...]:
        """The zero's age always; its drift while the jig seems to be empty."""
        calibration, zero = self._at.pipeline.calibration, self._at.pipeline.zero_counts
        if self.taken_us is None or zero is None or not calibration.forces:
            return ()
        hours = (self._at.clock.now_us() - self.taken_us) / HOUR_US
        forces = [j for j, channel in enumerate(calibration.channels) if channel.kind == "force"]
        parts = np.array([part.mean(axis=0) for part in np.array_split(counts, PARTS)])
        loads_n = apply(calibration, parts, zero)[:, forces]
        meant = self._occupied.taken_by() in ("bench", "proof")  # weights hang there on purpose
        empty = not meant and bool((np.abs(loads_n) < EMPTY_N).all() and (np.ptp(loads_n, axis=0) < STILL_N).all())
        now = counts.mean(axis=0).tolist() if empty else zero.tolist()
        return doubts_of_zero(calibration, zero.tolist(), now, hours=hours)

    def _drifted(self, zero: Zero) -> tuple[Doubtful, ...]:
        """Cells whose zero has moved since the last one was taken; none before the first."""
        before = self._at.pipeline.zero_counts
        if self.taken_us is None or before is None:
            return ()
        return doubts_of_zero(self._at.pipeline.calibration, before.tolist(), zero.counts, hours=0.0)
