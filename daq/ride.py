"""A ride: pipeline, remarks and the shape of each stroke in one loop, live and later. Live, resumed, recomputed and
replayed sweeps all go through this one `feed`. Pure: the same items give the same outputs.

A stage that fails on an item harms neither the session nor the recording: the item is already in the store, the sweep
is marked, and has no verdict from then on. The mark is an event stored with the sweep. It is stamped just before scans,
so that a recomputation gets the same scans in the same block, and otherwise as the item it follows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

from daq.fit.ridden import Ridden
from daq.fit.step_notes import Remarks, by_place
from daq.fit.stroke_watch import StrokeWatch
from daq.items import FITTER, GONE_ON, SWEEP_BEGUN, Event, Item
from daq.measure.calibration import Calibration
from daq.pipeline import Output, Pipeline
from daq.refusals import Refusal
from daq.rig import Rig
from daq.sweep.onset import METHOD
from daq.sweep.progress import Notice
from daq.sweep.run import ENDED, Trigger
from daq.sweep.validity.newly import newly_failed, said
from daq.values import NAN, Onset, Samples, StepMean, Verdict, cut
from daq.words import counted

STAGE_FAILED = "stage-failed"
"""Event: a stage failed on the item after it; content {"item": ..., "error": its type, "last_us": of the item}."""

Heard: TypeAlias = Output | Event
"""An Event is a mark to be stored with the sweep."""


class Ride:
    """One jig's pipeline with everything known about the ride. One verb: feed."""

    def __init__(
        self, rig: Rig, calibration: Calibration, *, mass_kg: float | None = None, method: str = METHOD
    ) -> None:
        """CalibrationError when a channel of the rig was not calibrated. method: of daq.sweep.onset.METHODS."""
        self.pipeline = Pipeline(rig, calibration, mass_kg=mass_kg, method=method)
        self._method = method
        self._begin()

    def _begin(self) -> None:
        self.onset: Onset | None = None
        """The answer so far; None before the first, and while a step it rested on is being ridden again."""
        self.remarks = Remarks()
        """What was said during the sweep."""
        self.strokes = StrokeWatch()
        """The shape of the sweep's strokes."""
        self.failure: Event | None = None
        """The first failure of a stage in this sweep."""
        self._spoilt = False
        """Whether it came while the sweep was under way."""
        self._failed_to_us: int | None = None
        self._told: set[str] = set()
        """Tests of validity whose failure was reported."""
        self._in_sweep = False
        """Whether a sweep was under way when the last item came."""

    def feed(self, item: Item) -> list[Heard]:
        """Everything that follows from one more item. Refusal, with nothing changed, of an event that does not fit."""
        if self._failed_to_us is None or not isinstance(item, Samples):
            return self._feed(item)
        inside = item.received_us <= self._failed_to_us
        self._failed_to_us = None
        if inside.all() or not inside.any():
            return self._feed(item)
        return [*self._feed(cut(item, inside)), *self._feed(cut(item, ~inside))]

    def feed_again(self, item: Item) -> list[Heard]:
        """As `feed`, for a recorded ride: if some of it is lost, the fitter's events are fitted in as well as
        possible."""
        self.pipeline.as_ridden = True
        try:
            return self.feed(item)
        finally:
            self.pipeline.as_ridden = False

    def concluded(self) -> list[Heard]:
        """After the last item: the answer that says what is lost, if anything is and an answer is possible."""
        if not self.pipeline.losses or self.pipeline.progress is None:
            return []
        self.onset = self.answer(self.pipeline.progress.steps)
        return [] if self.onset is None else [self.onset]

    def answer(self, steps: Sequence[StepMean]) -> Onset | None:
        """The onset from these steps, without its numbers if a stage has failed. None with too few positions."""
        try:
            return self.pipeline.answer(steps)
        except Exception:
            if self.failure is None:
                raise
            return _unanswered(_said(self.failure), self._method)

    def ridden(self, sweep_id: int, state: str) -> Ridden | None:
        """The sweep as it was ridden; None before one was begun."""
        progress = self.pipeline.progress
        if progress is None:
            return None
        return Ridden(
            sweep_id=sweep_id,
            plan=progress.plan,
            state=state,
            steps=tuple(progress.steps),
            onset=self.onset,
            mass_kg=self.pipeline.mass_kg,
            notes=by_place(self.remarks.notes, progress),
            marks=self.remarks.marks,
            pains=self.remarks.pains,
            losses=tuple(event.content["said"] for event in self.pipeline.losses),
            calibration=self.pipeline.calibration,
            shapes=self.strokes.of(progress.steps),
        )

    @property
    def under_way(self) -> bool:
        """Whether a sweep was begun and has not ended."""
        return self.pipeline.progress is not None and self.pipeline.progress.state not in ENDED

    def _feed(self, item: Item) -> list[Heard]:
        if isinstance(item, Event) and item.kind == SWEEP_BEGUN:
            self._begin()
        outputs: list[Heard] = []
        if not _marks_an_event(item):  # that event may have ended the sweep
            self._in_sweep = self.under_way
        earlier = self.failure
        if isinstance(item, Event) and item.kind == GONE_ON and not self._spoilt:
            self.failure = None  # one from after the end must not hide the sweep's own
        try:
            self._guarded(self._compute, item, outputs)
        except Refusal:
            self.failure = earlier
            raise
        self._guarded(self._follow, item, outputs)
        self._guarded(self._look, item, outputs)
        self._guarded(self._find_out, item, outputs)
        for output in outputs:
            if isinstance(output, Onset):
                self.onset = output
        return outputs

    def _guarded(self, stage: Callable[[Item, list[Heard]], None], item: Item, outputs: list[Heard]) -> None:
        try:
            stage(item, outputs)
        except Exception as error:
            if stage == self._compute and isinstance(item, Event) and isinstance(error, Refusal):
                raise  # only here has nothing changed yet
            if self.failure is None:
                failure = _failure(item, error)
                outputs.append(failure)
                self._mark(failure, outputs)
            elif self._in_sweep and any(isinstance(output, StepMean) for output in outputs):
                self._answer_again(outputs)

    def _compute(self, item: Item, outputs: list[Heard]) -> None:
        for output in self.pipeline.each(item):
            outputs.append(output)

    def _look(self, item: Item, outputs: list[Heard]) -> None:
        self.strokes.hear(item)
        for output in outputs:
            self.strokes.see(output)

    def _find_out(self, _: Item, outputs: list[Heard]) -> None:
        """What the tests of validity have found since the previous answer, while the step can still be redone."""
        progress = self.pipeline.progress
        if progress is None or not progress.steps:
            return
        t_s = 60.0 * progress.steps[-1].t_min
        for output in [*outputs]:
            if isinstance(output, Onset):
                outputs += [
                    Notice("caution", said(one), t_s, see="bench" if one.test == "calibration" else None)
                    for one in newly_failed(output, self._told)
                ]

    def _follow(self, item: Item, outputs: list[Heard]) -> None:
        """What an event changes besides the pipeline: remarks, and an answer whose step is undone."""
        if not isinstance(item, Event):
            return
        if item.kind == STAGE_FAILED and self.failure is None:
            self._failed_to_us = item.content["last_us"]
            self._mark(item, outputs)
        elif item.kind == FITTER and self.pipeline.progress is not None:
            if item.content["event"] == Trigger.REDO:
                self.onset = None
            self.remarks = self.remarks.after_fitter(item.content["event"], self.pipeline.progress.ridden)
        else:
            self.remarks = self.remarks.after(item)

    def _mark(self, failure: Event, outputs: list[Heard]) -> None:
        self.failure, said = failure, _said(failure)
        outputs.append(Notice("alarm", said, failure.received_us / 1e6))
        if self._in_sweep or self.under_way:
            self._spoilt = True
            self.pipeline.forbid_verdict(said)
            self._answer_again(outputs)

    def _answer_again(self, outputs: list[Heard]) -> None:
        progress = self.pipeline.progress
        answer = None if progress is None else self.answer(progress.steps)
        if answer is not None:
            outputs.append(answer)


def _marks_an_event(item: Item) -> bool:
    """Whether the item is a stored mark, and what failed came all at once, as an event does."""
    return isinstance(item, Event) and item.kind == STAGE_FAILED and item.received_us == item.content["last_us"]


def _failure(item: Item, error: Exception) -> Event:
    first_us, last_us, what = _described(item)
    content = {"item": what, "error": type(error).__name__, "last_us": last_us}
    return Event(first_us - isinstance(item, Samples), STAGE_FAILED, content)


def _described(item: Item) -> tuple[int, int, str]:
    if isinstance(item, Samples):
        first_us, last_us = int(item.received_us[0]), int(item.received_us[-1])
        return first_us, last_us, f"{counted(len(item), 'scan')} of {item.source}"
    kind = f"event {item.kind}" if isinstance(item, Event) else f"{type(item).__name__.lower()} of {item.source}"
    return item.received_us, item.received_us, kind


def _said(failure: Event) -> str:
    content: Any = failure.content
    return (
        f"the computation failed ({content['error']}) on {content['item']} at {failure.received_us / 1e6:.1f} s: "
        "everything received is kept, but a sweep it belongs to has no verdict"
    )


def _unanswered(why: str, method: str) -> Onset:
    """The placeholder for an answer that cannot be computed."""
    return Onset(
        verdict=Verdict.UNDECIDED,
        gradual=False,
        onset_mm=None,
        interval_95_mm=None,
        p_onset=NAN,
        p_light=NAN,
        p_loaded=NAN,
        least_squares_mm=None,
        rss=NAN,
        suggested_setback_mm=None,
        light_load_n=NAN,
        slope_n_per_mm=NAN,
        reasons=(why,),
        method=method,
    )
