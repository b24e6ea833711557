"""The stages in order: what reached the session goes in, everything derived from it comes out. Pure: the same items in
the same order give the same outputs, bit for bit, however the scans are cut into blocks. Live, replay and recomputation
all run this one object. A sweep begins with an event that carries everything it depends on and resets every stage, so a
sweep can be recomputed from its first item on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any, TypeAlias

import numpy as np

from daq import items
from daq.crank_sensors import CrankSensors
from daq.items import Event, Hello, Item, Notification
from daq.jig import Board, cells_of, conditions_of, otherwise, positions_of, progress_of, weight_line_of
from daq.measure.calibration import Calibration, apply, in_order
from daq.measure.cell_checks import CellWatch
from daq.measure.clock import CLOCK_RULES, BoardClock
from daq.measure.clock_jumps import ClockJumps, jumped_said
from daq.measure.mechanics import summed
from daq.measure.positions import Positions
from daq.measure.ripple_lock import RippleLock
from daq.measure.spare_inputs import SpareInputs
from daq.measure.stroke import StrokeCutter
from daq.measure.zero import Recent, counts_of
from daq.refusals import NotNow
from daq.rig import Rig
from daq.sweep import run
from daq.sweep.losses import losses_said
from daq.sweep.onset import METHOD, onset
from daq.sweep.plan import Plan
from daq.sweep.progress import Notice, SweepProgress
from daq.sweep.run import ENDED
from daq.sweep.setting import setting_of
from daq.sweep.stalls import StallWatch
from daq.sweep.typed.progress import TypedProgress
from daq.sweep.unanswered import why_unanswered
from daq.sweep.validity.conditions import Conditions, Fault
from daq.sweep.validity.judged import judged
from daq.values import Array, Loads, Onset, Samples, StepMean, Stroke, cut
from daq.wire import board

Output: TypeAlias = Loads | Stroke | StepMean | Onset | Notice

_ANSWERS_ANEW = (run.Trigger.REDO, run.Trigger.ENOUGH, run.Trigger.STOP)
"""After these a step is gone, or none is to come: the answer changes."""


def item_of(said: Samples | board.HelloBody, received_us: int) -> Item:
    """A board's scans or hello as the item that is stored and fed."""
    return said if isinstance(said, Samples) else Hello(received_us, items.BOARD, asdict(said))


class Pipeline:
    """All stages of one jig, with their memory. One verb: feed."""

    def __init__(
        self, rig: Rig, calibration: Calibration, *, mass_kg: float | None = None, method: str = METHOD
    ) -> None:
        """CalibrationError when a channel of the rig was not calibrated. method: of daq.sweep.onset.METHODS."""
        self._rig = rig
        self._method = method
        self.calibration = in_order(calibration, [channel.name for channel in rig.channels])
        """As the rig file orders its channels."""
        self._parts = (rig.columns("hands"), rig.columns("saddle"), rig.columns("tilt"), rig.force_columns)
        self._columns: list[int] | None = None
        self.zero_counts: Array | None = None
        """The converter's readings with nobody on the jig; None: the calibration's own zero."""
        self.channels: tuple[str, ...] = ()
        """The board's channels in the order of its scans; empty before its hello."""
        self.refused = 0
        """Notifications that could not be decoded."""
        self.progress: SweepProgress | None = None
        self.board: Board | None = None
        """What the board last said of itself."""
        self.cells = CellWatch(())
        """Watches the cells; its troubles are those of now."""
        self._known = Conditions()
        """What was known of the sweep when it began."""
        self.as_ridden = False
        """Whether the items come from records: if some are lost, the fitter's events are fitted in as well as
        possible."""
        self.losses: list[Event] = []
        """What can no longer be read of this sweep."""
        self._begin(mass_kg)

    @property
    def mass_kg(self) -> float | None:
        """The rider's mass; None if unknown. The stroke cutter is its only owner."""
        return self._cutter.mass_kg

    @mass_kg.setter
    def mass_kg(self, mass_kg: float | None) -> None:
        self._cutter.mass_kg = mass_kg

    @property
    def clock_errors_ms(self) -> dict[str, float | None]:
        """How well each source's clock is known in session time; None until it is known."""
        return {items.BOARD: self._clock.error_ms, items.POWER: self.sensors.error_ms}

    @property
    def late(self) -> int:
        """Scans that arrived more than a tenth of a second after they were taken."""
        return self._clock.late

    def feed(self, item: Item) -> list[Output]:
        """Everything that follows from one more item. Refusal, with nothing changed, of an event that does not fit."""
        return list(self.each(item))

    def each(self, item: Item) -> Iterator[Output]:
        """The same, one output at a time, until a stage fails; the caller has to exhaust it."""
        if isinstance(item, Samples):
            yield from self._measure(item)
        elif isinstance(item, Notification):
            self._listen(item)
        elif isinstance(item, Hello):
            self._meet(item)
        else:
            yield from self._take(item)

    def forbid_verdict(self, why: str) -> None:
        """From now on this sweep has no verdict; why: one sentence."""
        self._known = replace(self._known, failure=why)

    def answer(self, steps: Sequence[StepMean]) -> Onset | None:
        """The onset from these steps, with plan, rider and conditions of the sweep that was begun last; None if
        `no_answer` says why there is none.
        """
        if self.progress is None or self.no_answer(steps):
            return None
        plan = self.progress.plan
        answer = onset(steps, step_off_mm=plan.step_off_mm, loaded_chance=plan.loaded_chance, method=self._method)
        finished = self.progress.state in ENDED
        known = replace(
            self._known,
            mass_kg=self.mass_kg,
            faults=tuple(self.faults),
            finished=finished,
            records_lost=bool(self.losses),
        )
        answer = judged(answer, steps, known)
        lost = losses_said(self.losses, len(self.progress.left_out))
        return replace(answer, reasons=(*answer.reasons, lost)) if lost else answer

    def no_answer(self, steps: Sequence[StepMean]) -> str:
        """Why these steps give no onset; empty if they give one."""
        return why_unanswered(None if self.progress is None else self.progress.plan, steps)

    @property
    def position_troubles(self) -> dict[str, str]:
        """What is wrong with the position sensors while the saddle is fixed; empty while it is being moved."""
        return self.positions.troubles if self._stands else {}

    @property
    def _stands(self) -> bool:
        """Whether saddle and bar are to stand."""
        return self.progress is not None and self.progress.state in (run.State.SETTLING, run.State.AVERAGING)

    def stall(self, now_s: float) -> str:
        """Why the current sweep has stalled; empty while it has not. now_s: session time."""
        if self.progress is None or isinstance(self.progress, TypedProgress):
            return ""
        return self._stalls.why(self.progress.state, now_s)

    def recent_counts(self) -> Array:
        """(n, k) converter readings of the last seconds, channels as in the rig file: what a zero is taken from."""
        return self._recent.counts(self._columns) if self._columns else np.empty((0, len(self._rig.channels)))

    def _begin(self, mass_kg: float | None, clock_rules: int = CLOCK_RULES) -> None:
        self._recent = Recent()
        self._clock = BoardClock(clock_rules)
        self._cutter = StrokeCutter(mass_kg=mass_kg, g_m_s2=self._rig.g_m_s2)
        cut_by = items.POWER if self._rig.cadence is None else items.CADENCE
        self.sensors = CrankSensors(power=items.POWER, cut_by=cut_by, clock_rules=clock_rules)
        self._ripple = RippleLock()
        self.faults: list[Fault] = []
        """Faults seen since the sweep began."""
        self.positions = Positions()
        """Reads where saddle and bar are; its troubles are those of the current position."""
        self._read_from: tuple[str, ...] = ()
        self._spare = SpareInputs()
        self._jumps = ClockJumps()
        self._stalls = StallWatch()

    def _meet(self, hello: Hello) -> None:
        """Learn about the board. One that has changed spoils the current sweep."""
        self._name_channels([channel["name"] for channel in hello.content["channels"]])
        if self._under_way:
            self._find(otherwise(self._rig, self.board, hello.content), hello.received_us / 1e6)
        if self.board is None or hello.content["channels"] != self.board["channels"]:
            self._watch(hello.content)
        self.board = hello.content
        self._jumps.meet(hello.content)

    def _watch(self, board: Board) -> None:
        """Watch this board's cells, and the inputs the rig does not use."""
        self.cells = CellWatch(cells_of(self._rig, board))
        used = {channel.name for channel in self._rig.channels if channel.role != "unused"}
        used |= {each.name for each in self._rig.positions}
        self._spare = SpareInputs(board["channels"], used=used, cells=self._rig.cells)

    @property
    def _under_way(self) -> bool:
        return self.progress is not None and self.progress.state not in ENDED

    def _find(self, sentence: str, t_s: float, part: str = items.BOARD) -> None:
        """Note what spoils the whole sweep; does nothing for an empty sentence."""
        if sentence:
            self.faults.append(Fault(part, sentence, t_s, lasting=True))

    def _name_channels(self, channels: Sequence[str]) -> None:
        """Learn which column of a scan is which channel of the rig file; all channels of the rig have to be there."""
        self.channels = tuple(channels)
        wanted = [channel.name for channel in self._rig.channels]
        self._columns = [self.channels.index(name) for name in wanted] if set(wanted) <= set(self.channels) else None
        if self._read_from != self.channels:
            self.positions, self._read_from = positions_of(self._rig, self.channels), self.channels

    def _measure(self, samples: Samples) -> Iterator[Output]:
        if self._columns is None or max(self._columns) >= samples.counts.shape[1]:
            return
        self._recent.feed(samples)
        samples, t_s = self._timed(samples)
        if not len(samples):
            return
        loads = self._loads(samples, t_s)
        watched = ((self.cells.feed(samples, loads), False), (self.positions.feed(samples, loads.t_s), True))
        for found_s, troubles, of_place in ((*each, of_place) for ended, of_place in watched for each in ended):
            if self._under_way:
                self.faults += [Fault(part, text, found_s, of_place=of_place) for part, text in troubles.items()]
        jumps = [(i, jumped_said(by_s)) for i, by_s in self._jumps.feed(samples)]
        if self._under_way:
            self.faults += [Fault(items.BOARD, text, float(loads.t_s[i])) for i, text in jumps]
        yield loads
        yield from (Notice("caution", text, float(loads.t_s[i])) for i, text in (*self._spare.found, *jumps))
        self._lock(loads)
        self._stalls.scan(float(loads.t_s[-1]), marked=self._cutter.marked)
        for stroke in self._cutter.feed_loads(loads):
            self._stalls.stroke(stroke)
            yield stroke
            yield from self._sweep(stroke)
        if self.progress is not None:
            yield from self.progress.pass_time(float(loads.t_s[-1]))

    def _lock(self, loads: Loads) -> None:
        """On a board without a crank mark, find the turns in the loads' own ripple."""
        if not self._cutter.marked:
            load_n = loads.hands_n + loads.saddle_n if self._rig.columns("saddle") else loads.hands_n
            turns_s = self._ripple.feed(loads.t_s, load_n, self._cadence_to_seek())
            self._cutter.feed_turns(turns_s, told_by="ripple")

    def _cadence_to_seek(self) -> float:
        """The cadence at which to look for the ripple: the sensor's, or the plan's on a rig without such a sensor."""
        alone = self._rig.power is None and self._rig.cadence is None and math.isnan(self.sensors.cadence_rpm)
        return self.progress.plan.cadence_rpm if alone and self.progress else self.sensors.cadence_rpm

    def _timed(self, samples: Samples) -> tuple[Samples, Array]:
        """The scans whose time is known, and their times; no stroke spans the others."""
        t_s = self._clock.feed(samples)
        for at_s in self._clock.gaps_s:
            self._cutter.break_off(at_s)
        known = np.isfinite(t_s)
        return (samples, t_s) if known.all() else (cut(samples, known), t_s[known])

    def _loads(self, samples: Samples, t_s: Array) -> Loads:
        values = apply(self.calibration, samples.counts[:, self._columns], self.zero_counts)
        hands, saddle, tilt, cells = self._parts
        return Loads(
            t_s=t_s,
            hands_n=summed(values, hands),
            saddle_n=summed(values, saddle),
            tilt_deg=values[:, tilt[0]] if tilt else np.full(len(samples), np.nan),
            cells_n=values[:, cells],
            status=self._spare.status(samples),
        )

    def _sweep(self, stroke: Stroke) -> Iterator[Output]:
        if self.progress is None:
            return
        for item in self.progress.feed(stroke):
            yield item
            if isinstance(item, StepMean):
                self.positions.stood(item.strokes[-1].end_s)
                yield from self._answer(self.progress)

    def _answer(self, progress: SweepProgress) -> Iterator[Output]:
        answer = self.answer(progress.steps)
        if answer is not None:
            yield answer

    def _listen(self, notification: Notification) -> None:
        """Take a notification from a power or cadence sensor; one that cannot be decoded is counted and changes
        nothing."""
        try:
            told = self.sensors.feed(notification)
        except ValueError:
            self.refused += 1
            return
        if told.power_w is not None:
            self._cutter.feed_power(notification.received_us / 1e6, told.power_w, told.torque_nm)
        if told.turns_s:
            self._stalls.turn_told()
        if told.cuts and not self._ripple.locked:
            self._cutter.feed_turns(told.turns_s, told_by=notification.source)

    def _take(self, event: Event) -> Iterator[Output]:
        content, t_s = event.content, event.received_us / 1e6
        if event.kind == items.SWEEP_BEGUN:
            self._begin_sweep(content, t_s)
        elif event.kind == items.LOST:
            self._pass_over(event)
        elif event.kind in items.TYPED:
            yield from self._read(event.kind, content, t_s)
        elif event.kind == items.FITTER:
            yield from self._follow_fitter(content, t_s)
        elif event.kind == items.GONE_ON:
            yield from self._go_on(content, t_s)
        elif event.kind == items.STEP_NOTE:
            yield from self._note(content)
        else:
            self._learn(event.kind, content, t_s)

    def _learn(self, kind: str, content: Mapping[str, Any], t_s: float) -> None:
        if kind == items.ZERO:
            self.zero_counts = counts_of(content["zero_counts"])
        elif kind == items.SEATED:
            self.mass_kg = content["mass_kg"]
        elif kind == items.FAULT and self._under_way:
            self._find(content["sentence"], t_s, content["part"])
        elif kind == items.CHECKED and self.progress is not None and self.progress.state is run.State.WAITING:
            self._known = self._known.checked(content)
            self._hear_damping(content)

    def _read(self, kind: str, content: Mapping[str, Any], t_s: float) -> Iterator[Output]:
        if not isinstance(self.progress, TypedProgress):
            raise NotNow("a typed reading without a sweep of typed readings; begin one first", see="plan")
        at, heard = self.progress, self.sensors.effort_at(t_s)
        for item in at.take_reading(content, t_s, heard) if kind == items.READING else at.take_effort(content, t_s):
            yield item
            if isinstance(item, StepMean):
                yield from self._answer(self.progress)

    def _follow_fitter(self, content: Mapping[str, Any], t_s: float) -> Iterator[Output]:
        progress = self._spoken_of(f"{content['event']} without a sweep; begin a sweep first")
        if progress is None:
            return
        what, u_mm = run.Trigger(content["event"]), content.get("u_setback_mm")
        if self._stands:
            self.positions.stood(t_s)
        take = progress.take_as_ridden if self._mended else progress.take
        yield from take(
            what,
            t_s,
            setback_mm=content.get("setback_mm"),
            setting=setting_of(content.get("setting")),
            u_setback_mm=self._rig.geometry.u_setback_mm if u_mm is None else u_mm,
        )
        self._stalls.act(t_s)
        if what is run.Trigger.SADDLE_MOVED and progress.setback_mm is not None:
            self.positions.hold(progress.setback_mm, progress.asked_setback_mm, entered=u_mm is None)
        if what in _ANSWERS_ANEW:
            yield from self._answer(progress)

    def _go_on(self, content: Mapping[str, Any], t_s: float) -> Iterator[Output]:
        if progress := self._spoken_of("no sweep was ridden that could go on"):
            yield from progress.go_on(t_s, tuple(content["positions_mm"]), as_ridden=self._mended)
            self._stalls.act(t_s)

    def _note(self, content: Mapping[str, Any]) -> Iterator[Output]:
        """A tilt of the saddle belongs to the step as it was set; after the sweep's end nothing of it changes."""
        if self.progress is None or not self._under_way or content["what"] != "saddle_tilt_deg":
            return
        if self.progress.note_tilt(int(content["step"]), float(content["value"])):
            yield from self._answer(self.progress)

    @property
    def _mended(self) -> bool:
        return self.as_ridden and bool(self.losses)

    def _spoken_of(self, refusal: str) -> SweepProgress | None:
        """The sweep an event belongs to; None if its beginning is lost, NotNow if there was none."""
        if self.progress is None and not self._mended:
            raise NotNow(refusal, see="plan")
        return self.progress

    def _pass_over(self, event: Event) -> None:
        self.losses.append(event)
        from_s, to_s = event.received_us / 1e6, event.content["to_us"] / 1e6
        if event.content["source"] == items.BOARD:
            self._cutter.pass_over(from_s, to_s)
            if self.progress is not None:
                self.progress.pass_over(from_s, to_s)

    def _begin_sweep(self, content: Mapping[str, Any], t_s: float) -> None:
        self._begin(content["mass_kg"], content.get("clock", 1))
        self.losses = []
        self._name_channels(content["channels"])
        self.zero_counts = counts_of(content["zero_counts"])
        self.board = content.get("board")
        self.cells = CellWatch(())
        if self.board is not None:
            self._watch(self.board)
            self._jumps.meet(self.board)
            self._find(otherwise(self._rig, None, self.board), t_s)
        positions = tuple(content["plan"]["positions_mm"])
        plan = Plan(**{**content["plan"], "positions_mm": positions})
        self._known = conditions_of(self._rig, plan, content, watched=self.cells.watches)
        self.progress = progress_of(self._rig, plan, self.completed)
        self._hear_damping(content.get("calibration", {}))

    def _hear_damping(self, standing: Mapping[str, Any]) -> None:
        if isinstance(self.progress, TypedProgress):
            self.progress.take_damping(standing.get("damping_s", {}))

    @property
    def jig_said(self) -> tuple[str, ...]:
        """How scale and proof of the jig stood when the sweep began, a few words each; empty without a sweep."""
        return self._known.jig_said

    def completed(self, step: StepMean) -> StepMean:
        """The step with the rider's weight line added, if this sweep's jig can determine it."""
        if self.progress is None:
            return step
        line_mm, u_mm = weight_line_of(step, self._rig, self.progress.plan, self.mass_kg)
        return replace(step, weight_line_mm=line_mm, u_weight_line_mm=u_mm)
