"""The current sweep: set up or resumed, ridden by the fitter's verbs, and stored with its results."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from typing import Any

from daq.fit.intake import Saddle
from daq.fit.ridden import Ridden
from daq.fit.setting import Placed, Start, as_set, planned, start_of, surprises
from daq.fit.step_notes import MARK, PAIN, content_of, tilt_caution
from daq.items import FAULT, FITTER, GONE_ON, STEP_NOTE, SWEEP_BEGUN, Event, Item
from daq.jig import beginning
from daq.keep.json_text import plain
from daq.live.bench.standing import utc_now
from daq.live.session.acquisition import Acquisition
from daq.live.session.occupied import Occupied
from daq.pipeline import Output
from daq.proof.standing import proof_said
from daq.refusals import BadValue, NotNow
from daq.sweep.design import too_narrow
from daq.sweep.plan import Plan
from daq.sweep.progress import SweepProgress
from daq.sweep.run import ENDED, State, Trigger, fitter_may
from daq.values import NAN, Onset, Setting, StepMean


class SweepDesk:
    """The fitter's verbs; each returns only once its effect is on the disk."""

    def __init__(
        self,
        acquisition: Acquisition,
        occupied: Occupied,
        *,
        in_the_way: Callable[[], str],
        stamp: Callable[[], dict[str, Any]],
        client_id: Callable[[], int | None],
        saddle: Callable[[], Saddle | None],
        tilt_deg: Callable[[], float | None],
        begun: Callable[[int | None], Awaitable[None]],
        ridden: Callable[[Ridden], None],
    ) -> None:
        """in_the_way: why a sweep may not begin, empty when it may. stamp: how the calibration stands. client_id: whose
        sweep it is; saddle: on that client's own bicycle; tilt_deg: of the saddle as measured today. begun, ridden:
        told of the id of a sweep that is set up, and of one that has ended."""
        self._at, self._occupied = acquisition, occupied
        self._in_the_way, self._stamp, self._client_id = in_the_way, stamp, client_id
        self._saddle, self._tilt_deg, self._begun, self._ridden = saddle, tilt_deg, begun, ridden
        self._id: int | None = None
        self._open = False
        self._away = False
        self._over = ""
        self._one_at_a_time = asyncio.Lock()
        acquisition.hears_output.append(self._keep)
        acquisition.hears_item.append(self._close_when_ended)

    @property
    def progress(self) -> SweepProgress | None:
        """Of the current sweep or the visit's last one; None before the first."""
        return None if self._away else self._at.pipeline.progress

    @property
    def id(self) -> int | None:
        """Its number in the store."""
        return None if self.progress is None else self._id

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
            if not at.pipeline.channels:
                raise NotNow(f"the {at.sensors.loads_from} has sent nothing usable yet; see its cable and power")
            found = None
            if at.storing is not None:
                found = await at.storing.begin_sweep(
                    plan, from_us=from_us, rider=at.rider, calibration=at.calibration, client_id=self._client_id()
                )
            self.put_aside(from_us)
            await self._begun(found)
            at.drain()
            self._id, self._open, self._away = found, True, False
            saddle = self._saddle()
            content = beginning(
                plan,
                mass_kg=at.rider.mass_kg,
                channels=at.pipeline.channels,
                zero_counts=at.pipeline.zero_counts,
                calibration=self._stamp(),
                board=at.pipeline.board,
                habitual_setback_mm=None if saddle is None else saddle.setback_mm,
                proof=proof_said(at.rig, at.calibration.id, utc_now(), simulated=at.simulated),
            )
            await at.accept(SWEEP_BEGUN, content)

    def take_up(self, sweep_id: int, items: Iterable[Item]) -> None:
        """Resume a sweep that was cut off: feed what is stored of it, then pause it until the fitter resumes."""
        self._at.take_up(items)
        self._id, self._open, self._away = sweep_id, True, False
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
            raise NotNow(why)
        moved = event is Trigger.SADDLE_MOVED  # what is sent with anything else means nothing and was not looked at
        content: dict[str, Any] = {"event": str(event), "setback_mm": setback_mm if moved else None}
        if moved and setting is not None:
            content |= self._confirmed(setback_mm, setting)
        asked_mm = None if self.progress is None else self.progress.asked_setback_mm
        self._at.act(FITTER, content)
        if moved and asked_mm is not None and self.progress is not None and self.progress.setback_mm is not None:
            wanted = self.place_at(self.progress.setback_mm)
            for sentence in surprises(asked_mm, wanted, self.progress.setting):
                self._at.notice("caution", sentence)
        await self._at.stored()

    @property
    def accepts(self) -> tuple[Trigger, ...]:
        """What the fitter may do with the sweep now: no resume before a pain is told."""
        held = bool(self._in_the_way_of(Trigger.RESUME))
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
            raise NotNow("no sweep was ridden that could go on")
        if why := self._in_the_way_of(Trigger.RESUME):
            raise NotNow(why)
        self._occupied.refuse("the sweep goes on")
        self._at.act(GONE_ON, {"positions_mm": list(positions_mm)})
        self._at.seat(self._at.rider)  # the mass may have changed since the end
        if self._at.storing is not None and self._id is not None:
            self._at.storing.end_sweep(self._id, None, None)
        self._open = True
        await self._at.stored()

    def target(self) -> Placed | None:
        """Where saddle and bar should be at the requested position; None if none is requested."""
        asked_mm = None if self.progress is None else self.progress.asked_setback_mm
        return None if asked_mm is None else self.place_at(asked_mm)

    def place_at(self, setback_mm: float) -> Placed:
        """Where saddle and bar should be at any setback, by the policies of the plan. NotNow without a sweep."""
        start = self._start()
        assert self.progress is not None
        return planned(self.progress.plan, start, setback_mm, self._saddle())

    def as_set(self, setback_mm: float, setting: Setting) -> Placed:
        """A position of the sweep as it was set, with the changes from the start. NotNow without a sweep."""
        return as_set(self._start(), setback_mm, setting)

    def _confirmed(self, setback_mm: float | None, said: Mapping[str, float | None]) -> dict[str, Any]:
        """The full setting a fitter confirms by naming only what differs from both plan and position sensors."""
        asked_mm = None if self.progress is None else self.progress.asked_setback_mm
        at_mm = asked_mm if setback_mm is None else setback_mm
        if at_mm is None:
            return {}
        read, known = self.measured(), {} if setback_mm is not None else self._at.pipeline.positions.u_mm
        if setback_mm is None:
            positions = self._at.pipeline.positions
            if why := positions.moves() or ("" if asked_mm is None else positions.doubt(asked_mm)):
                raise NotNow(why)
            at_mm = read.pop("setback_mm", at_mm)
        as_planned = plain(self.place_at(at_mm).setting)
        rounded = {name: None if value is None else round(value, 1) for name, value in as_planned.items()}
        setting = {**rounded, **{name: mm for name, mm in read.items() if name in rounded}, **said}
        return {"setback_mm": at_mm, "setting": setting, "u_setback_mm": known.get("setback_mm")}

    def measured(self) -> dict[str, float]:
        """What the jig's position sensors read now, mm, keyed by the fields of a setting and setback_mm; empty without
        sensors."""
        return {name: round(mm, 1) for name, mm in self._at.pipeline.positions.now.items()}

    def _start(self) -> Start:
        if self.progress is None:
            raise NotNow("no sweep is set up")
        first, tilt_deg = next(iter(self.progress.steps), None), self._tilt_deg()
        return start_of(
            self.progress.plan,
            self._at.rig.geometry,
            first,
            saddle_tilt_deg=NAN if tilt_deg is None else tilt_deg,
        )

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
            raise NotNow("no sweep is set up that this could belong to")
        said = {"place": place, "side": side, "score": score, "red": red}
        self._at.act(MARK, {"text": PAIN, "setback_mm": self.progress.setback_mm, **said})
        self._pause()
        if red:
            self._over = red
            if Trigger.STOP in fitter_may(self.progress.state):
                self._at.act(FITTER, {"event": str(Trigger.STOP)})
            self._at.notice("alarm", f"{red}: the ride is over today. Rider off the jig; get help if it does not pass")
        await self._at.stored()

    def _in_the_way_of(self, event: Trigger) -> str:
        """Why the ride may not go on; empty if it may."""
        remarks = self._at.ride.remarks
        if over := self._over or remarks.over:
            return f"{over} was reported: the ride is over today"
        if event is Trigger.RESUME and remarks.pain and not remarks.told:
            return "pain was reported: first say where, on which side and how much from 0 to 10"
        return self._in_the_way() if event is Trigger.BEGIN else ""

    async def note_step(self, what: str, value: float) -> None:
        """Store a rider's score or the saddle's tilt with its step. NotNow without a sweep; BadValue."""
        if self.progress is None:
            raise NotNow("no sweep is set up that this could belong to")
        self._at.act(STEP_NOTE, content_of(self.progress, what, value))
        if caution := tilt_caution(self._at.ride.remarks.notes):
            self._at.notice("caution", caution)
        await self._at.stored()

    def spoiled(self, part: str, sentence: str) -> None:
        """Note with the current sweep that something is wrong that its scans do not show."""
        if self._open:
            self._at.act(FAULT, {"part": part, "sentence": sentence})

    def put_aside(self, at_us: int | None = None) -> None:
        """End a sweep that is set up but was not begun."""
        if self._open:
            self._close(State.WAITING, self._at.clock.stamp_us() if at_us is None else at_us)

    def put_away(self) -> None:
        """Stop showing the last sweep, so that the next client does not see it. It stays in the store."""
        self.put_aside()
        self._away, self._over = True, ""

    def _pause(self) -> None:
        if self.progress is not None and Trigger.PAUSE in fitter_may(self.progress.state):
            self._at.act(FITTER, {"event": str(Trigger.PAUSE)})

    def _keep(self, output: Output) -> None:
        """Store a result after the raw data it comes from."""
        if self._at.storing is None or self.id is None:
            return
        if isinstance(output, StepMean):
            self._at.storing.add_result(self.id, "step", "step/1", plain(output))
        elif isinstance(output, Onset):
            self._at.storing.add_result(self.id, "onset", output.method, plain(output))

    def _close_when_ended(self) -> None:
        if self._open and self.progress is not None and self.progress.state in ENDED:
            self._close(self.progress.state, self._at.clock.stamp_us())

    def _close(self, state: State, at_us: int) -> None:
        self._open = False
        onset = self._at.ride.onset
        self._at.record(Event(self._at.clock.stamp_us(), "answer", {} if onset is None else plain(onset)))
        if self._at.storing is not None and self._id is not None:
            self._at.storing.end_sweep(self._id, at_us, state)
            found = self._at.ride.ridden(self._id, str(state))
            if found is not None:
                self._ridden(found)
