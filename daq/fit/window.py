"""The answer as a window for the saddle, and what speaks against going rearward for light hands."""

from __future__ import annotations

from collections.abc import Sequence

from daq.fit.ridden import Ridden
from daq.sweep.places import SAME_PLACE_MM
from daq.values import Verdict

WINDOW_MM = 10.0
"""An answer is a window about this wide, not a point: riders, marks and clamps are no more precise. Common practice."""
SAME_MM = 0.5
"""Setbacks are chosen to a millimetre: what is nearer than half of one to an end of the window lies in it."""
SADDLE_WORSE = 2.0
"""A difference in saddle discomfort between the ends of a sweep that counts, in points."""
REARWARD = "further back can cost saddle comfort"
"""Common practice, no source."""
_ON_ANOTHER_DAY = "the window is today's, and on another day the onset may lie further back"


def window_mm(sweep: Ridden | None) -> tuple[float, float] | None:
    """Foremost and rearmost setback to choose from, starting at the onset and going back; None without a named
    onset."""
    if sweep is None or sweep.named is None or sweep.named.onset_mm is None:
        return None
    return sweep.named.onset_mm, sweep.named.onset_mm + WINDOW_MM


def rearward_cautions(sweep: Ridden | None, *, chosen_mm: float | None, present_mm: float | None) -> tuple[str, ...]:
    """One sentence for each thing that speaks against a rearward choice. The onset limits coming forward; it is no
    target for going back."""
    window = window_mm(sweep)
    found = []
    if window is not None and sweep is not None:
        rear_mm = max(sweep.plan.positions_mm)
        if window[1] > rear_mm:
            found.append(
                f"the window reaches behind the rear end of the sweep, {rear_mm:g} mm: nothing was ridden there"
            )
        if chosen_mm is not None and chosen_mm > window[1] + SAME_MM:
            behind = f"{chosen_mm:g} mm lies {chosen_mm - window[1]:.0f} mm behind the window"
            why = _ON_ANOTHER_DAY if sweep.plan.chance_of == "another day" else "light hands are no reason for that"
            found.append(f"{behind}: {why}, and {REARWARD}")
        if chosen_mm is not None and chosen_mm < window[0] - SAME_MM:
            found.append(
                f"{chosen_mm:g} mm lies {window[0] - chosen_mm:.0f} mm forward of the onset: the hands carry more"
            )
    elif chosen_mm is not None and present_mm is not None and chosen_mm > present_mm:
        loaded = sweep is not None and sweep.onset is not None and sweep.onset.verdict is Verdict.LOADED
        found.append(
            f"going back may lighten the hands, but {REARWARD}: check the reach first, ask how the saddle feels there"
            if loaded
            else f"no onset was found, so hand load gives no reason to go back, and {REARWARD}"
        )
    if sweep is not None and chosen_mm is not None:
        found += _not_ridden(sweep, chosen_mm)
    if sweep is not None:
        found += _saddle_said(sweep)
    return tuple(found)


def _not_ridden(sweep: Ridden, chosen_mm: float) -> Sequence[str]:
    """Whether a setback lies outside the positions ridden."""
    at_mm = [step.setback_mm for step in sweep.steps]
    if any(abs(step.setback_mm - chosen_mm) < SAME_PLACE_MM for step in sweep.again):
        return []
    if not at_mm or min(at_mm) <= chosen_mm <= max(at_mm):
        return []
    return [
        f"{chosen_mm:g} mm was not ridden: the sweep went from {max(at_mm):g} to {min(at_mm):g} mm. Ride it before it "
        "is built"
    ]


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
