"""The setback suggested to fitter and client, by today's chance or another day's, and what it means in one sentence."""

from __future__ import annotations

from dataclasses import dataclass

from daq.fit.days import Days
from daq.fit.ridden import Ridden
from daq.sweep.plan import Plan
from daq.values import Onset


@dataclass(frozen=True, slots=True)
class Suggested:
    """Where the saddle might be put; the fitter decides."""

    setback_mm: float | None
    said: str
    """For the client: what the place means, or why there is none."""


def suggested(main: Ridden | None, foretold: Days | None) -> Suggested | None:
    """What the sweep's plan asks for: the foremost place ridden where the chance that the hands already carry more is
    at most the accepted one, today or on another day. None where no onset is named. foretold: what all tests of the
    client say; without it another day is unknown, and today's chance has to do.
    """
    named = None if main is None else main.named
    if main is None or named is None or named.onset_mm is None:
        return None
    if main.plan.chance_of == "today":
        return _today(named, main.plan)
    if foretold is None:
        today = _today(named, main.plan)
        return Suggested(today.setback_mm, f"Nothing can be said of another day yet. {today.said}")
    return _another_day(named.onset_mm, main.plan, foretold)


def _today(named: Onset, plan: Plan) -> Suggested:
    if named.suggested_setback_mm is None:
        return Suggested(
            None,
            "No setback is suggested: even at the rearmost place ridden today, the chance that your hands already "
            f"carry more of you is more than {100 * plan.loaded_chance:g} in 100.",
        )
    return Suggested(
        named.suggested_setback_mm,
        "Going by today's ride, the chance that your hands already carry more of you at "
        f"{named.suggested_setback_mm:.0f} mm is at most {100 * plan.loaded_chance:g} in 100.",
    )


def _another_day(onset_mm: float, plan: Plan, foretold: Days) -> Suggested:
    """Never nearer to today's onset than the step-off, as far as that was ridden."""
    rear = foretold.chances[0]
    nearest_mm = min(onset_mm + plan.step_off_mm, rear.setback_mm)
    within = [
        one.setback_mm
        for one in foretold.chances
        if one.another_day <= plan.loaded_chance and one.setback_mm >= nearest_mm
    ]
    if not within:
        return Suggested(
            None,
            f"No setback is suggested: even at {rear.setback_mm:.0f} mm, the rearmost place ridden, the chance that "
            f"your hands carry more of you on another day is {100 * rear.another_day:.0f} in 100, more than "
            f"{100 * plan.loaded_chance:g}. A test on another day would tell more.",
        )
    return Suggested(
        min(within),
        f"Going by all your tests, the chance that your hands carry more of you at {min(within):.0f} mm on another day "
        f"is at most {100 * plan.loaded_chance:g} in 100.",
    )
