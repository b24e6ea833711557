"""The life of one sweep as a table: which state follows which event, and nothing else.

The dashboard's buttons, the drawing in DEVELOPERS.md and the tests are made from TRANSITIONS.
"""

from __future__ import annotations

import enum

from daq.refusals import NotNow


class State(enum.StrEnum):
    """What the sweep is doing now."""

    WAITING = "waiting"
    """No position requested yet: the plan is set, the rider warms up."""
    MOVING = "moving"
    """A setback is requested; the saddle is not there yet."""
    SETTLING = "settling"
    """The saddle is in place; rider and cells are not steady yet."""
    AVERAGING = "averaging"
    """Strokes inside the torque band are being averaged."""
    PAUSED = "paused"
    """The rider rests; the step in progress starts again when it resumes."""
    FINISHED = "finished"
    """All positions are done, or the fitter ended it with what there is."""
    STOPPED = "stopped"
    """Ended early for the rider's sake. What was recorded stays."""


class Trigger(enum.StrEnum):
    """What moves a sweep on. The fitter's triggers come from a person, the others from the strokes."""

    BEGIN = "begin"
    SADDLE_MOVED = "saddle_moved"
    STEADY = "steady"
    UNSETTLED = "unsettled"
    STEP_DONE = "step_done"
    PLAN_DONE = "plan_done"
    REDO = "redo"
    UNDO = "undo"
    PAUSE = "pause"
    RESUME = "resume"
    ENOUGH = "enough"
    STOP = "stop"


FITTERS_TRIGGERS = frozenset(
    {
        Trigger.BEGIN,
        Trigger.SADDLE_MOVED,
        Trigger.REDO,
        Trigger.UNDO,
        Trigger.PAUSE,
        Trigger.RESUME,
        Trigger.ENOUGH,
        Trigger.STOP,
    }
)

S, E = State, Trigger
_ALWAYS = {E.STOP: S.STOPPED}
TRANSITIONS: dict[State, dict[Trigger, State]] = {
    S.WAITING: {E.BEGIN: S.MOVING, **_ALWAYS},
    S.MOVING: {
        E.SADDLE_MOVED: S.SETTLING,
        E.REDO: S.MOVING,
        E.PAUSE: S.PAUSED,
        E.PLAN_DONE: S.FINISHED,
        E.ENOUGH: S.FINISHED,
        **_ALWAYS,
    },
    S.SETTLING: {
        E.STEADY: S.AVERAGING,
        E.UNDO: S.MOVING,
        E.REDO: S.SETTLING,
        E.PAUSE: S.PAUSED,
        E.ENOUGH: S.FINISHED,
        **_ALWAYS,
    },
    S.AVERAGING: {
        E.STEP_DONE: S.MOVING,
        E.UNSETTLED: S.SETTLING,
        E.UNDO: S.MOVING,
        E.REDO: S.SETTLING,
        E.PAUSE: S.PAUSED,
        E.ENOUGH: S.FINISHED,
        **_ALWAYS,
    },
    S.PAUSED: {E.RESUME: S.MOVING, E.ENOUGH: S.FINISHED, **_ALWAYS},
    S.FINISHED: {},
    S.STOPPED: {},
}
ENDED = frozenset(state for state, events in TRANSITIONS.items() if not events)


def after(state: State, event: Trigger) -> State:
    """The next state. Raises NotNow, which names what would be accepted, if the event does not fit."""
    allowed = TRANSITIONS[state]
    if event not in allowed:
        accepts = ", ".join(sorted(allowed)) or "nothing: it has ended"
        raise NotNow(f"{event} while {state}; a sweep here accepts: {accepts}", see="ride")
    return allowed[event]


def fitter_may(state: State) -> tuple[Trigger, ...]:
    """The events a fitter may send now, in the order they are declared."""
    return tuple(event for event in Trigger if event in FITTERS_TRIGGERS and event in TRANSITIONS[state])
