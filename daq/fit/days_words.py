"""What a client's tests say beyond today, in sentences for the sheet and the page."""

from __future__ import annotations

import datetime

from daq.fit.days import Days, Ends, Moved

MOST_MOVED = 2
"""Earlier tests a sheet has room for, latest first."""


def said_of(found: Days, setback_mm: float | None) -> tuple[str, ...]:
    """For the client: today and another day, the chance at the decided setback, what changed since earlier tests."""
    sentences = [f"{_where(found.today_mm, 'Today')} {_where(found.another_day_mm, 'On another day')}"]
    if setback_mm is not None:
        chance = found.chances_at(setback_mm)
        sentences.append(
            f"Chance that at {setback_mm:.0f} mm they already carry more: today {_percent(chance.today)}, "
            f"on another day {_percent(chance.another_day)}."
        )
    latest = sorted(found.moved, key=lambda one: one.day, reverse=True)
    sentences += [moved_said(one) for one in latest[:MOST_MOVED]]
    return (*sentences, found.spreads_from)


def moved_said(one: Moved) -> str:
    """How far the onset lies from that of another test, beside what an unchanged rider would show."""
    test = (
        f"sweep {one.sweep} of this day"
        if one.same_day
        else f"the test of {in_words(datetime.date.fromisoformat(one.day))}"
    )
    by_mm = round(abs(one.change_mm))
    further = "back" if one.change_mm > 0 else "forward"
    way = f"{by_mm} mm further {further}" if by_mm else "at the same place"
    shown = "a change" if one.clear else "no change shown"
    return (
        f"Onset against {test}: {way}, 95 % {one.interval_95_mm[0]:+z.0f} to {one.interval_95_mm[1]:+z.0f} mm. "
        f"Two tests of an unchanged rider {'within a day' if one.same_day else 'on two days'} differ by up to "
        f"{one.detectable_mm:.0f} mm: {shown}."
    )


def _where(ends: Ends, when: str) -> str:
    front, rear = ends
    if front is None and rear is None:
        return f"{when} the hands may begin to carry more anywhere."
    if front is None:
        return f"{when} the hands begin to carry more forward of {rear:.0f} mm."
    if rear is None:
        return f"{when} the hands begin to carry more behind {front:.0f} mm."
    return f"{when} the hands begin to carry more between {front:.0f} and {rear:.0f} mm."


def _percent(chance: float) -> str:
    """Never 0 or 100 %: nothing is that certain."""
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100.0 * chance:.0f} %"


def in_words(day: datetime.date) -> str:
    """'28 November 2026', whatever the computer's language."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
