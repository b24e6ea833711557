"""A sweep in progress: strokes and the fitter's events in, finished steps out. It knows the plan, the table of states
and the rules of one step; nothing about sensors, clocks or screens. Time comes with the strokes and the events.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from daq.refusals import BadValue, NotNow, See
from daq.sweep.design import next_step, too_narrow
from daq.sweep.held import in_band, what_is_off
from daq.sweep.plan import MOVING_S, BadPlan, Plan
from daq.sweep.run import ENDED, State, Trigger, after, fitter_may
from daq.sweep.setting import NOTHING_SET, JigRange, contradiction, with_tilt
from daq.sweep.status import SweepStatus
from daq.sweep.step_in_progress import StepInProgress
from daq.values import NAN, Setting, StepMean, Stroke
from daq.words import counted

SETTLE_AT_MOST_S = 30.0
"""A swaying rider is never quite steady; after this time the position is averaged anyway, and a note says so."""
STOPPED_S = 3.0
"""No stroke for this long: the rider has stopped pedalling."""
LEAST_LEFT = 0.5
"""A step with less than this left has no mean: half of its strokes could come from one end of a drift."""
_COMES_FROM = {
    Trigger.BEGIN: State.WAITING,
    Trigger.SADDLE_MOVED: State.MOVING,
    Trigger.REDO: State.SETTLING,
    Trigger.UNDO: State.SETTLING,
    Trigger.PAUSE: State.MOVING,
    Trigger.RESUME: State.PAUSED,
    Trigger.ENOUGH: State.MOVING,
    Trigger.STOP: State.MOVING,
}
"""The states a sweep may have been in when a fitter's event arrives that does not fit."""


@dataclass(frozen=True, slots=True)
class Notice:
    """One sentence for the person at the jig."""

    level: str
    text: str
    t_s: float
    pain: bool = False
    """Whether it is over with the pain it tells of."""
    see: See | None = None
    """Where it is done what it asks for; None where that is no place in particular."""


class SweepProgress:
    """The one object with the memory of a running sweep. Verbs: feed a stroke, take an event, note the time."""

    def __init__(
        self,
        plan: Plan,
        *,
        jig: JigRange = JigRange(),  # noqa: B008 - frozen
        resolution_mm: float = 1.0,
        completed: Callable[[StepMean], StepMean] = lambda step: step,
    ) -> None:
        """resolution_mm: the finest step the jig can be set to. completed: adds to a step what only the jig knows."""
        self.plan = plan
        self.state = State.WAITING
        self.steps: list[StepMean] = []
        self.setback_mm: float | None = None
        self._jig = jig
        self._resolution_mm = resolution_mm
        self._completed = completed
        self.setting = NOTHING_SET
        """How the jig is set at the current position, as confirmed."""
        self._read_tilt_deg = NAN
        """The saddle's tilt as read since then."""
        self.u_setback_mm = NAN
        """Standard uncertainty of setback_mm, if it was stated."""
        self._confirmed_min = NAN
        """When the saddle's current position was confirmed."""
        self._chosen_mm: float | None = None
        """The next position of an adaptive plan."""
        self._why_here = ""
        self._step = StepInProgress(0.0)
        self._last_stroke_s: float | None = None
        self._gap_from_s: float | None = None
        """The end of the last stroke before a gap, until there is one after it."""
        self.left_out: list[int] = []
        """Steps, counted from 0 as ridden, of which too little is left."""

    @property
    def ridden(self) -> int:
        """Steps finished as ridden, including those left out."""
        return len(self.steps) + len(self.left_out)

    @property
    def spoken_of(self) -> int | None:
        """The step a remark belongs to now, counted from 0 as ridden: the one being ridden, otherwise the last one;
        None before any."""
        if self.state in (State.SETTLING, State.AVERAGING):
            return self.ridden
        return self.ridden - 1 if self.ridden else None

    def place_of(self, step: int) -> int | None:
        """Where in `steps` a step is or will be, counted from 0 as ridden; None if it was left out."""
        return None if step in self.left_out else step - sum(one < step for one in self.left_out)

    @property
    def asked_setback_mm(self) -> float | None:
        """The position to ride next or now; None when all are done or the sweep has ended."""
        return None if self.state in ENDED else self.left_setback_mm

    @property
    def left_setback_mm(self) -> float | None:
        """The same also after the end: where the sweep would go on."""
        done = self.ridden
        if done >= len(self.plan.positions_mm):
            return None
        return self._chosen_mm if self.plan.adaptive else self.plan.positions_mm[done]

    @property
    def accepts(self) -> tuple[Trigger, ...]:
        """What the fitter may do now, in the order of the table; a redo while the saddle moves needs a step."""
        nothing = self.state is State.MOVING and not self.ridden
        return tuple(one for one in fitter_may(self.state) if not (nothing and one is Trigger.REDO))

    def take(
        self,
        event: Trigger,
        t_s: float,
        *,
        setback_mm: float | None = None,
        setting: Setting = NOTHING_SET,
        u_setback_mm: float = NAN,
    ) -> list[Notice]:
        """Apply a fitter's event. NotNow or BadValue, with the state unchanged, if it does not fit. setting: how the
        rest of the jig was set, with saddle_moved; u_setback_mm: how well the setback is known.
        """
        following = after(self.state, event)
        if event is Trigger.REDO and event not in self.accepts:
            raise NotNow("redo while moving; no step is finished yet that could be ridden again")
        notices = []
        if event is Trigger.SADDLE_MOVED:
            self._place_saddle(setback_mm, setting)
            self.setting, self.u_setback_mm, self._confirmed_min = setting, u_setback_mm, t_s / 60.0
        elif event is Trigger.REDO and self.state is State.MOVING and self._last_left_out:
            self.left_out.pop()
        elif event is Trigger.REDO and self.state is State.MOVING:
            dropped = self.steps.pop()
            notices = [Notice("info", f"the step at {dropped.setback_mm:g} mm is left out and asked again", t_s)]
        elif event is Trigger.UNDO:
            self.setback_mm = None
        if event in (Trigger.SADDLE_MOVED, Trigger.REDO, Trigger.UNDO):
            self._read_tilt_deg = NAN
        self.state = following
        if self.state is State.MOVING:
            notices += self._choose(t_s)
        self._start_over(t_s)
        return notices

    def take_as_ridden(
        self,
        event: Trigger,
        t_s: float,
        *,
        setback_mm: float | None = None,
        setting: Setting = NOTHING_SET,
        u_setback_mm: float = NAN,
    ) -> list[StepMean | Notice]:
        """Apply a fitter's event of a ride with lost data. The event did happen: if it does not fit, the sweep had got
        further than the remaining data shows. The current step has then ended in the gap, or is left out."""
        try:
            return [*self.take(event, t_s, setback_mm=setback_mm, setting=setting, u_setback_mm=u_setback_mm)]
        except NotNow:
            finished: list[StepMean | Notice] = []
            if self._gap_from_s is not None:
                self._step.lose(self._gap_from_s, t_s)
            if self.state is State.AVERAGING and self._ridden_s() + self._step.lost_s >= self.plan.dwell_s:
                finished = self._finish(t_s)
            elif self.state in (State.SETTLING, State.AVERAGING):
                self._leave_out()
            self.state = _COMES_FROM[event]
            taken = self.take(event, t_s, setback_mm=setback_mm, setting=setting, u_setback_mm=u_setback_mm)
            return [*finished, *taken]

    def note_tilt(self, step: int, tilt_deg: float) -> bool:
        """Take the saddle's tilt as read at a step, counted from 0 as ridden, in place of the one confirmed there.
        Whether a finished step is changed by it."""
        at = self.place_of(step)
        if step == self.ridden:
            self._read_tilt_deg = tilt_deg
        elif at is not None and 0 <= at < len(self.steps):
            self.steps[at] = replace(self.steps[at], setting=with_tilt(self.steps[at].setting, tilt_deg))
            return True
        return False

    def go_on(self, t_s: float, positions_mm: tuple[float, ...] = (), *, as_ridden: bool = False) -> list[Notice]:
        """Go on after the end, from the step it ended at, or with these positions after those that are ridden.

        Refusal, with nothing changed, before the end, where no position is left, and where an adaptive plan's range
        becomes too narrow for this jig's marks. as_ridden: what happened has happened, also where the end itself is
        lost.
        """
        if self.state not in ENDED and not as_ridden:
            raise NotNow(f"the sweep is {self.state} and has not ended; it goes on by itself")
        before, planned_mm = (self.plan, self.state, self._chosen_mm), self.plan.positions_mm
        try:
            to_ride_mm = (*planned_mm[: self.ridden], *positions_mm) if positions_mm else planned_mm
            longer = replace(self.plan, positions_mm=to_ride_mm)
        except BadPlan as error:
            raise BadValue(str(error)) from error
        narrow = too_narrow(max(to_ride_mm), min(to_ride_mm), self._resolution_mm) if longer.adaptive else ""
        if narrow:
            raise BadValue(narrow)
        self.plan, self.state = longer, State.MOVING
        notices = self._choose(t_s)
        if self.asked_setback_mm is None:
            self.plan, self.state, self._chosen_mm = before
            raise NotNow("every position of this plan is ridden; say which to ride as well")
        self._start_over(t_s)
        return notices

    def pass_over(self, from_s: float, to_s: float) -> None:
        """Strokes in between are lost: the current step ends when it ended, with fewer strokes."""
        if self._gap_from_s is None:
            self._gap_from_s = max(self._step.from_s, self._last_stroke_s or from_s)
        if self._last_stroke_s is not None:
            self._last_stroke_s = max(self._last_stroke_s, to_s)

    def feed(self, stroke: Stroke) -> list[StepMean | Notice]:
        """Take one stroke; returns the finished step if this stroke completes it."""
        stopped = self.pass_time(stroke.start_s)
        still_s = stroke.start_s - max(self._step.from_s, self._last_stroke_s or 0.0)
        if self.state is State.SETTLING and still_s > STOPPED_S:
            self._start_over(stroke.start_s)  # nobody settles while he does not ride
        self._last_stroke_s = stroke.end_s
        if stroke.start_s < self._step.from_s:
            return [*stopped]
        if self._gap_from_s is not None:
            self._step.lose(self._gap_from_s, stroke.start_s)
            self._gap_from_s = None
        self._step.hear(stroke)
        if self.state is State.SETTLING:
            return [*stopped, *self._settle(stroke)]
        if self.state is State.AVERAGING:
            return [*stopped, *self._average(stroke)]
        return [*stopped]

    def pass_time(self, t_s: float) -> list[Notice]:
        """Note that it is now t_s: a rider who has stopped pedalling has to settle again."""
        if self._last_stroke_s is None or self.state is not State.AVERAGING:
            return []
        stopped_s = self._last_stroke_s + STOPPED_S
        if t_s <= stopped_s:
            return []
        self.state = after(self.state, Trigger.UNSETTLED)
        self._start_over(stopped_s)
        return [Notice("caution", "pedalling has stopped: this position settles again", stopped_s)]

    def status(self, t_s: float) -> SweepStatus:
        """The sweep's status at t_s."""
        riding, held = self.state in (State.SETTLING, State.AVERAGING), self._step.held
        settle_left_s = max(0.0, self.plan.settle_s - (t_s - self._step.from_s)) if riding else None
        dwell_left_s = max(0.0, self.plan.dwell_s - self._ridden_s()) if riding else None
        left = 0 if self.state in ENDED else len(self.plan.positions_mm) - self.ridden
        per_step_s = MOVING_S + self.plan.settle_s + self.plan.dwell_s
        now_s = (settle_left_s or 0.0) + (dwell_left_s or 0.0) if riding else min(left, 1) * per_step_s
        return SweepStatus(
            state=self.state,
            accepts=self.accepts,
            step=min(self.ridden + 1, len(self.plan.positions_mm)),
            planned_mm=self._planned_mm(),
            asked_setback_mm=self.asked_setback_mm,
            setback_mm=self.setback_mm,
            settle_left_s=settle_left_s,
            dwell_left_s=dwell_left_s,
            in_band=in_band(held, self.plan),
            torque_nm=None if held is None else held[0],
            cadence_rpm=None if held is None else held[1],
            why_waiting=self._why_waiting(),
            why_here=self._why_here,
            seconds_left=now_s + max(left - 1, 0) * per_step_s,
        )

    def _planned_mm(self) -> tuple[float, ...]:
        """All positions; of an adaptive plan those ridden and the next."""
        if not self.plan.adaptive:
            return self.plan.positions_mm
        ridden = tuple(step.setback_mm for step in self.steps)
        return ridden if self.asked_setback_mm is None else (*ridden, self.asked_setback_mm)

    def _place_saddle(self, setback_mm: float | None, setting: Setting) -> None:
        if setback_mm is None:
            raise BadValue("saddle_moved: expected setback_mm, the saddle's new setback behind the BB")
        if wrong := contradiction(setback_mm, setting, self._jig):
            raise BadValue(wrong)
        self.setback_mm = setback_mm

    def _start_over(self, t_s: float) -> None:
        self._step = StepInProgress(t_s)

    def _settle(self, stroke: Stroke) -> list[StepMean | Notice]:
        waited_s = stroke.end_s - self._step.from_s
        if waited_s < self.plan.settle_s:
            return []
        steady = self._step.is_steady
        if not steady and waited_s < SETTLE_AT_MOST_S:
            return []
        self.state = after(self.state, Trigger.STEADY)
        if steady:
            return []
        why = "is not known" if math.isnan(stroke.hands_n) else "still moves"
        return [Notice("caution", f"hand load {why} after {SETTLE_AT_MOST_S:g} s; averaged as it is", stroke.end_s)]

    def _average(self, stroke: Stroke) -> list[StepMean | Notice]:
        if not self._step.count(stroke, off_effort=in_band(self._step.held, self.plan) is False):
            return []
        told = self._look_for_jump(stroke.end_s)
        if self._ridden_s() + self._step.lost_s < self.plan.dwell_s or self.setback_mm is None:
            return [*told]
        return [*told, *self._finish(stroke.end_s)]

    def _finish(self, t_s: float) -> list[StepMean | Notice]:
        """End the current step with its mean, or without one if too little of it is left."""
        finished = []
        if self.setback_mm is None or self._ridden_s() < LEAST_LEFT * self.plan.dwell_s:
            self._leave_out()
        else:
            mean = self._mean(self.setback_mm)
            setting = with_tilt(self.setting, self._read_tilt_deg)
            known = replace(mean, moved_min=self._confirmed_min, setting=setting, u_setback_mm=self.u_setback_mm)
            finished = [self._completed(known)]
            self.steps += finished
        self.state = after(self.state, Trigger.STEP_DONE)
        self._start_over(t_s)
        told = self._choose(t_s)
        if self.asked_setback_mm is None:
            self.state = after(self.state, Trigger.PLAN_DONE)
        return [*told, *finished]

    def _mean(self, setback_mm: float) -> StepMean:
        return self._step.mean(setback_mm)

    @property
    def _last_left_out(self) -> bool:
        return bool(self.left_out) and self.left_out[-1] == self.ridden - 1

    def _leave_out(self) -> None:
        """Count the current step as ridden, without a mean."""
        self.left_out.append(self.ridden)

    def _choose(self, t_s: float) -> list[Notice]:
        """Have an adaptive plan choose the next position from the steps so far; returns why, in a sentence."""
        if not self.plan.adaptive:
            return []
        rear_mm, front_mm = max(self.plan.positions_mm), min(self.plan.positions_mm)
        most = len(self.plan.positions_mm)
        chosen = next_step(
            self.steps,
            rear_mm=rear_mm,
            front_mm=front_mm,
            resolution_mm=self._resolution_mm,
            minutes_left=float(max(most - self.ridden, 1)),  # in steps, so that the last is the first place again
            minutes_per_step=1.0,
        )
        as_planned = self.ridden == most and chosen.setback_mm is not None
        self._chosen_mm = chosen.setback_mm
        self._why_here = f"all {counted(most, 'step')} are ridden that this plan allows" if as_planned else chosen.why
        return [Notice("info", self._why_here, t_s)]

    def _look_for_jump(self, t_s: float) -> list[Notice]:
        jump = self._step.jumped_n()
        if jump is None:
            return []
        text = f"hand load jumped by {jump:+z.0f} N within this step: did the hands move? Redo the step if they did"
        return [Notice("caution", text, t_s)]

    def _ridden_s(self) -> float:
        return self._step.ridden_s

    def _why_waiting(self) -> str:
        asked = self.asked_setback_mm
        if self.state is State.WAITING:
            return "warm up, then begin"
        if self.state is State.MOVING and asked is not None:
            return f"move the saddle to {asked:g} mm behind the BB, then confirm"
        if self.state is State.PAUSED:
            return "resume when the rider is ready; this position is ridden again"
        if self.state is State.SETTLING:
            return "wait until the rider sits still in the new position"
        held = self._step.held
        if self.state is State.AVERAGING and held is not None and in_band(held, self.plan) is False:
            return what_is_off(held, self.plan)
        return ""
