"""The current sweep: set up or resumed, and ridden by the fitter's verbs."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

from daq.fit.intake import Saddle
from daq.fit.setting import surprises
from daq.fit.step_notes import MARK, PAIN, content_of, tilt_caution
from daq.items import FAULT, FITTER, GONE_ON, STEP_NOTE, SWEEP_BEGUN, Item
from daq.jig import beginning
from daq.live.session.acquisition import Rider
from daq.live.session.kept_sweep import KeptSweep
from daq.live.session.occupied import Occupied
from daq.live.session.placing import Placing
from daq.proof.standing import ProofStanding
from daq.refusals import BadValue, NotNow
from daq.ride import Ride
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.sweep.design import too_narrow
from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from daq.sweep.run import ENDED, State, Trigger, fitter_may


class Needs(Protocol):
    """What this desk needs of the acquisition."""

    rig: Rig
    clock: SessionClock
    ride: Ride
    rider: Rider

    def channels(self) -> tuple[str, ...]: ...
    def drain(self) -> None: ...
    def act(self, kind: str, content: dict[str, Any]) -> None: ...
    async def accept(self, kind: str, content: dict[str, Any]) -> None: ...
    async def stored(self) -> None: ...
    def take_up(self, items: Iterable[Item]) -> None: ...
    def seat(self, rider: Rider) -> None: ...
    def notice(self, level: str, text: str, *, pain: bool = False) -> None: ...


class SweepDesk:
    """The fitter's verbs; each returns only once its effect is on the disk."""

    def __init__(
        self,
        at: Needs,
        occupied: Occupied,
        kept: KeptSweep,
        placing: Placing,
        *,
        in_the_way: Callable[[], NotNow | None],
        stamp: Callable[[], dict[str, Any]],
        proof: Callable[[], ProofStanding],
        saddle: Callable[[], Saddle | None],
        begun: Callable[[int | None], Awaitable[None]],
    ) -> None:
        """in_the_way: why a sweep may not begin, None when it may. stamp, proof: how calibration and proof stand.
        saddle: on the client's own bicycle. begun: told of the id of a sweep that is set up."""
        self._at, self._occupied, self._kept, self._placing = at, occupied, kept, placing
        self._in_the_way, self._stamp, self._proof = in_the_way, stamp, proof
        self._saddle, self._begun = saddle, begun
        self._away = False
        self._over = ""
        self._one_at_a_time = asyncio.Lock()

    @property
    def progress(self) -> SweepProgress | None:
        """Of the current sweep or the visit's last one; None before the first."""
        return None if self._away else self._at.ride.pipeline.progress

    @property
    def id(self) -> int | None:
        """Its number in the store."""
        return None if self.progress is None else self._kept.id

    @property
    def plan(self) -> Plan | None:
        """That is set up or ridden; None once it has ended."""
        return self.progress.plan if self.progress is not None and self._at.ride.under_way else None

    @property
    def under_way(self) -> bool:
        """Whether a sweep has begun and not ended; one that is only set up does not count."""
        return self._at.ride.under_way and self.progress is not None and self.progress.state is not State.WAITING

    async def begin(self, plan: Plan) -> None:
        """Set up a sweep. BadValue where an adaptive plan's range is too narrow for this jig's marks; NotNow while the
        jig is taken or before the board's hello; StoreError."""
        async with self._one_at_a_time:
            self._occupied.refuse("a sweep is set up")
            at, from_us = self._at, self._at.clock.stamp_us()
            ends_mm = max(plan.positions_mm), min(plan.positions_mm)
            if plan.adaptive and (narrow := too_narrow(*ends_mm, at.rig.geometry.setback_resolution_mm)):
                raise BadValue(narrow)
            at.channels()
            found = await self._kept.begin(plan, from_us)
            self.put_aside(from_us)
            await self._begun(found)
            at.drain()
            self._kept.make_current(found)
            self._away = False
            saddle, pipeline = self._saddle(), at.ride.pipeline
            content = beginning(
                plan,
                mass_kg=at.rider.mass_kg,
                channels=pipeline.channels,
                zero_counts=pipeline.zero_counts,
                calibration=self._stamp(),
                board=pipeline.board,
                habitual_setback_mm=None if saddle is None else saddle.setback_mm,
                proof=self._proof().said,
            )
            await at.accept(SWEEP_BEGUN, content)

    def take_up(self, sweep_id: int, items: Iterable[Item]) -> None:
        """Resume a sweep that was cut off: feed what is stored of it, then pause it until the fitter resumes."""
        self._at.take_up(items)
        self._kept.make_current(sweep_id)
        self._away = False
        self._pause()
        self._at.notice(
            "caution", "the sweep was interrupted; nothing recorded is lost. Resume when the rider is ready"
        )

    async def fitter(
        self, event: Trigger, setback_mm: float | None = None, setting: Mapping[str, float | None] | None = None
    ) -> None:
        """Do what the fitter commands. Refusal if it does not fit; NotStored if it is done but not on the disk.
        setting, with saddle_moved: the fitter confirms saddle and bar as planned, except for the values given; empty:
        all as planned; None: not checked. Stopping a sweep that has ended does nothing: somebody who presses twice, or
        just after somebody else, gets the normal answer.
        """
        if event is Trigger.STOP and self.progress is not None and self.progress.state in ENDED:
            await self._at.stored()
            return
        if event in (Trigger.BEGIN, Trigger.RESUME) and (why := self._in_the_way_of(event)):
            raise why
        moved = event is Trigger.SADDLE_MOVED  # what is sent with anything else means nothing and was not looked at
        content: dict[str, Any] = {"event": str(event), "setback_mm": setback_mm if moved else None}
        if moved and setting is not None:
            content |= self._placing.confirmed(setback_mm, setting)
        asked_mm = None if self.progress is None else self.progress.asked_setback_mm
        self._at.act(FITTER, content)
        if moved and asked_mm is not None and self.progress is not None and self.progress.setback_mm is not None:
            wanted = self._placing.place_at(self.progress.setback_mm)
            for sentence in surprises(asked_mm, wanted, self.progress.setting):
                self._at.notice("caution", sentence)
        await self._at.stored()

    @property
    def accepts(self) -> tuple[Trigger, ...]:
        """What the fitter may do with the sweep now: no resume before a pain is told."""
        held = self._in_the_way_of(Trigger.RESUME) is not None
        accepts = () if self.progress is None else self.progress.accepts
        return tuple(one for one in accepts if not (held and one is Trigger.RESUME))

    @property
    def may_go_on(self) -> bool:
        """Whether the sweep has ended and could go on with what is left of its plan."""
        if self.progress is None or self.progress.state not in ENDED or self._in_the_way_of(Trigger.RESUME):
            return False
        if self._occupied.taken_by():
            return False
        return self.progress.left_setback_mm is not None

    async def go_on(self, positions_mm: Sequence[float] = ()) -> None:
        """Go on after the end, from the step it ended at; positions_mm: instead of what is left of the plan. Refusal
        where the ride is over today, before the end, or where nothing is left to ride."""
        if self.progress is None:
            raise NotNow("no sweep was ridden that could go on", see="plan")
        if why := self._in_the_way_of(Trigger.RESUME):
            raise why
        self._occupied.refuse("the sweep goes on")
        self._at.act(GONE_ON, {"positions_mm": list(positions_mm)})
        self._at.seat(self._at.rider)  # the mass may have changed since the end
        self._kept.reopen()
        await self._at.stored()

    async def mark(self, text: str) -> None:
        """Store a remark about this moment; pain or numbness also pauses the sweep."""
        setback_mm = None if self.progress is None else self.progress.setback_mm
        self._at.act(MARK, {"text": text, "setback_mm": setback_mm})
        if text == PAIN:
            self._pause()
            self._at.notice(
                "alarm", f"{text}: the rider stops pedalling. Stop the sweep, or resume only when it is gone", pain=True
            )
        await self._at.stored()
        if text != PAIN:
            self._at.notice("info", f"marked: {text}")

    async def tell_pain(self, *, place: str | None, side: str | None, score: int | None, red: str | None) -> None:
        """Store where it hurts and how much; a red flag ends the sweep and today's riding, also when nothing else was
        told. NotNow without a sweep."""
        if self.progress is None:
            raise NotNow("no sweep is set up that this could belong to", see="plan")
        said = {"place": place, "side": side, "score": score, "red": red}
        self._at.act(MARK, {"text": PAIN, "setback_mm": self.progress.setback_mm, **said})
        self._pause()
        if red:
            self._over = red
            if Trigger.STOP in fitter_may(self.progress.state):
                self._at.act(FITTER, {"event": str(Trigger.STOP)})
            self._at.notice("alarm", f"{red}: the ride is over today. Rider off the jig; get help if it does not pass")
        await self._at.stored()

    def _in_the_way_of(self, event: Trigger) -> NotNow | None:
        """Why the ride may not go on; None if it may."""
        remarks = self._at.ride.remarks
        if over := self._over or remarks.over:
            return NotNow(f"{over} was reported: the ride is over today")
        if event is Trigger.RESUME and remarks.pain and not remarks.told:
            return NotNow("pain was reported: first say where, on which side and how much from 0 to 10", see="ride")
        return self._in_the_way() if event is Trigger.BEGIN else None

    async def note_step(self, what: str, value: float) -> None:
        """Store a rider's score or the saddle's tilt with its step. NotNow without a sweep; BadValue."""
        if self.progress is None:
            raise NotNow("no sweep is set up that this could belong to", see="plan")
        self._at.act(STEP_NOTE, content_of(self.progress, what, value))
        if caution := tilt_caution(self._at.ride.remarks.notes):
            self._at.notice("caution", caution)
        await self._at.stored()

    def spoiled(self, part: str, sentence: str) -> None:
        """Note with the current sweep that something is wrong that its scans do not show."""
        if self._kept.is_open:
            self._at.act(FAULT, {"part": part, "sentence": sentence})

    def put_aside(self, at_us: int | None = None) -> None:
        """End a sweep that is set up but was not begun."""
        if self._kept.is_open:
            self._kept.close(State.WAITING, self._at.clock.stamp_us() if at_us is None else at_us)

    def put_away(self) -> None:
        """Stop showing the last sweep, so that the next client does not see it. It stays in the store."""
        self.put_aside()
        self._kept.forget()
        self._away, self._over = True, ""

    def _pause(self) -> None:
        if self.progress is not None and Trigger.PAUSE in fitter_may(self.progress.state):
            self._at.act(FITTER, {"event": str(Trigger.PAUSE)})

    def close_when_ended(self) -> None:
        """After each item: a sweep that it has ended is closed."""
        if self._kept.is_open and self.progress is not None and self.progress.state in ENDED:
            self._kept.close(self.progress.state, self._at.clock.stamp_us())
