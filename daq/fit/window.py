"""The window of setbacks to choose from, and what speaks against a place outside it.

It begins with the suggested setback, so it means one thing everywhere: there the chance that the hands already carry
more is small enough, forward of it that chance is larger, and further back nothing is gained that was measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from daq.fit.ridden import Ridden
from daq.fit.suggested import Suggested, rearmost_mm
from daq.sweep.places import SAME_PLACE_MM
from daq.values import Verdict

WINDOW_MM = 10.0
"""How far back of the suggested setback one may go for comfort: riders, marks and clamps are no more precise, and light
hands alone are no reason to go further. Common practice, no source."""
SAME_MM = 0.5
"""Setbacks are chosen to a millimetre: what is nearer than half of one to an end of the window lies in it."""
SADDLE_WORSE = 2.0
"""A difference in saddle discomfort between the ends of a sweep that counts, in points."""
REARWARD = "further back can cost saddle comfort"
"""Common practice, no source."""
_SMALL, _SURE = 0.1, 0.99
Window: TypeAlias = tuple[float, float]
"""Foremost and rearmost setback, mm."""


def window_mm(sweep: Ridden | None, proposed: Suggested | None) -> Window | None:
    """From the suggested setback back, never behind the rearmost place ridden; None where nothing is suggested."""
    if sweep is None or proposed is None or proposed.setback_mm is None:
        return None
    front_mm = proposed.setback_mm
    return front_mm, min(front_mm + WINDOW_MM, rearmost_mm(sweep))


def window_said(window: Window) -> str:
    """'57 to 67 mm', or one place."""
    front, rear = (f"{mm:.0f}" for mm in window)
    return f"{front} mm" if front == rear else f"{front} to {rear} mm"


def cautions_at(
    sweep: Ridden | None, proposed: Suggested | None, *, chosen_mm: float | None, present_mm: float | None
) -> tuple[str, ...]:
    """One sentence for each thing that speaks against a choice. proposed: what the sweep suggests. The suggested place
    limits coming forward; it is no target for going back.
    """
    found: list[str] = []
    if sweep is not None and chosen_mm is not None:
        if proposed is not None:
            found += _outside(sweep, proposed, chosen_mm)
        found += _not_ridden(sweep, chosen_mm)
    if proposed is None and chosen_mm is not None and present_mm is not None and chosen_mm > present_mm:
        loaded = sweep is not None and sweep.onset is not None and sweep.onset.verdict is Verdict.LOADED
        found.insert(
            0,
            f"going back may lighten the hands, but {REARWARD}: check the reach first, ask how the saddle feels there"
            if loaded
            else f"no onset was found, so hand load gives no reason to go back, and {REARWARD}",
        )
    if sweep is not None:
        found += _saddle_said(sweep)
    return tuple(found)


def _outside(sweep: Ridden, proposed: Suggested, chosen_mm: float) -> Sequence[str]:
    """Behind the window or forward of it, or what the hands carry where there is none."""
    window = window_mm(sweep, proposed)
    chance = _chance_said(sweep, proposed, chosen_mm)
    if window is None:
        accepted = f"more than the {100 * sweep.plan.loaded_chance:g} accepted, and so it is at every place ridden"
        return [] if chance is None else [f"{chance} at {_mm(chosen_mm)}: {accepted}"]
    if chosen_mm > window[1] + SAME_MM:
        return [f"{_mm(chosen_mm)} lies {chosen_mm - window[1]:.0f} mm behind the window{_no_better(sweep, proposed)}"]
    if chosen_mm >= window[0] - SAME_MM:
        return []
    why = chance or _too_near(sweep, chosen_mm)
    lies = f"{_mm(chosen_mm)} lies {window[0] - chosen_mm:.0f} mm forward of the window"
    return [] if why is None else [f"{lies}: {why}"]


def _no_better(sweep: Ridden, proposed: Suggested) -> str:
    if sweep.plan.chance_of != proposed.chance_of:
        return f": the window is today's, and on another day the onset may lie further back, but {REARWARD}"
    light = ", in which the hands are most likely light already: that is no reason to go further back"
    return f"{light}, which can cost saddle comfort"


def _too_near(sweep: Ridden, chosen_mm: float) -> str | None:
    """The step-off of the plan holds however small the chance is."""
    onset_mm = None if sweep.named is None else sweep.named.onset_mm
    if onset_mm is None or chosen_mm >= onset_mm + sweep.plan.step_off_mm:
        return None
    return (
        f"it is nearer to the onset than the {sweep.plan.step_off_mm:g} mm that the plan keeps, and neither the saddle "
        "nor the rider is put back as exactly as today's onset is known"
    )


def _chance_said(sweep: Ridden, proposed: Suggested, chosen_mm: float) -> str | None:
    """The chance that governs, where it is larger than accepted; beyond the foremost place ridden, that there."""
    if not proposed.chances:
        return None
    foremost_mm, most = proposed.chances[0]
    chance = proposed.chance_at(chosen_mm) if chosen_mm >= foremost_mm else most
    if chance is None or chance <= sweep.plan.loaded_chance:
        return None
    at_least = "at least " if chosen_mm < foremost_mm and chance <= _SURE else ""
    when = "today" if proposed.chance_of == "today" else "on another day"
    return f"the chance that the hands carry more {when} is {at_least}{_in_100(chance)}"


def _in_100(chance: float) -> str:
    """With a decimal where it is small, so that it does not read like the accepted one; never 100."""
    if chance > _SURE:
        return f"over {100 * _SURE:.0f} in 100"
    return f"{100 * chance:.{1 if chance < _SMALL else 0}f} in 100"


def _mm(mm: float) -> str:
    """With a decimal at most."""
    return f"{round(mm, 1):g} mm"


def _not_ridden(sweep: Ridden, chosen_mm: float) -> Sequence[str]:
    """Whether a setback lies outside the positions ridden."""
    at_mm = [step.setback_mm for step in sweep.steps]
    if any(abs(step.setback_mm - chosen_mm) < SAME_PLACE_MM for step in sweep.again):
        return []
    if not at_mm or min(at_mm) - SAME_MM <= chosen_mm <= max(at_mm) + SAME_MM:
        return []
    went = f"from {max(at_mm):.0f} to {min(at_mm):.0f} mm"
    return [f"{_mm(chosen_mm)} was not ridden: the sweep went {went}. Ride it before it is built"]


def _saddle_said(sweep: Ridden) -> Sequence[str]:
    """Whether the saddle was scored worse at the rear."""
    said = [
        (step.setback_mm, sweep.notes[i]["saddle"])
        for i, step in enumerate(sweep.steps)
        if "saddle" in sweep.notes.get(i, {})
    ]
    if len(said) < 4:
        return []
    said.sort()
    third = max(1, len(said) // 3)
    front = sum(score for _, score in said[:third]) / third
    rear = sum(score for _, score in said[-third:]) / third
    if rear - front < SADDLE_WORSE:
        return []
    return [
        f"the rider scored the saddle {rear:.1f} at the rear and {front:.1f} at the front of 10 (worse at the rear)"
    ]
