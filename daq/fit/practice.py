"""A practised visit looked back on: what the simulated rider really was, and where the procedure broke.

Pure: what happened comes in as moments; the truth is the simulation's own. Of clients nothing is looked back on here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from daq.values import Onset
from daq.words import counted

What = Literal["asked", "moved", "redo", "undo", "pause", "stop", "enough", "caution"]
MOVING_TAKES_S = 5.0
"""Nobody loosens, moves, measures and tightens a saddle in less. Common practice, no source."""
TOO_FAR_MM = 20.0
"""Behind the onset; further back the saddle costs comfort and the hands are no lighter. Judgement."""
NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
"""Warnings that differ in their numbers alone are one."""
HEEDED: tuple[What, ...] = ("redo", "undo", "pause", "stop", "enough")


@dataclass(frozen=True, slots=True)
class Moment:
    """Something that happened in the sweep."""

    t_s: float
    """Seconds of the clock on the wall."""
    what: What
    text: str = ""


@dataclass(frozen=True, slots=True)
class Practised:
    """A visit as it was practised, and the truth of its rider."""

    onset_mm: float | None
    """Of the simulation; None: this rider has none."""
    wrong: tuple[str, ...]
    """What was wrong with rider or jig, a sentence each."""
    moments: tuple[Moment, ...]
    overridden: Mapping[str, str]
    """Checks gone on without, and why."""
    answer: Onset | None
    decided_mm: float | None


def truth_said(practised: Practised) -> list[str]:
    """What the rider really was, and what was found of it."""
    rider = "no onset" if practised.onset_mm is None else f"an onset at {practised.onset_mm:.1f} mm"
    lines = [f"the simulated rider had {rider}", *(f"what was wrong: {one}" for one in practised.wrong)]
    answer = practised.answer
    if answer is None:
        return [*lines, "the sweep came to no answer: too few positions were ridden"]
    if answer.onset_mm is None or answer.interval_95_mm is None:
        return [*lines, f"the answer was {answer.verdict}, and no setback was named"]
    low_mm, high_mm = answer.interval_95_mm
    held = practised.onset_mm is not None and low_mm <= practised.onset_mm <= high_mm
    found = f"the answer was {answer.onset_mm:.1f} mm, {low_mm:.1f} to {high_mm:.1f}"
    return [*lines, f"{found}: {'it holds the truth' if held else 'IT DOES NOT HOLD THE TRUTH'}"]


def broken(practised: Practised) -> list[str]:
    """Where the procedure broke, one sentence each; empty when it held."""
    return [*_early(practised.moments), *_ignored(practised.moments), *_overridden(practised), *_decided(practised)]


def _early(moments: Sequence[Moment]) -> list[str]:
    places, took_s, asked_s = [], 0.0, None
    for moment in sorted(moments, key=lambda one: one.t_s):
        if moment.what == "asked":
            asked_s = moment.t_s
        elif moment.what == "moved" and asked_s is not None:
            if moment.t_s - asked_s < MOVING_TAKES_S:
                places.append(moment.text)
                took_s = max(took_s, moment.t_s - asked_s)
            asked_s = None
    if not places:
        return []
    where, most = places[0], ""
    if len(places) > 1:
        where, most = f"{counted(len(places), 'position')}, first {places[0]},", " at most"
    return [f"the saddle was said to stand at {where} after {took_s:.0f} s{most}: moved and measured?"]


def _ignored(moments: Sequence[Moment]) -> list[str]:
    """Cautions after which the next position was begun as if nothing had been said."""
    found: list[str] = []
    waiting: list[str] = []
    # what a move itself gives rise to comes with its time, and after it
    for moment in sorted(moments, key=lambda one: (one.t_s, one.what == "caution")):
        if moment.what == "caution":
            waiting.append(moment.text)
        elif moment.what in HEEDED:
            waiting = []
        elif moment.what == "moved":
            found += waiting
            waiting = []
    alike: dict[str, list[str]] = {}
    for text in found:
        alike.setdefault(NUMBER.sub("", text), []).append(text)
    return [_passed_over(texts) for texts in alike.values()]


def _passed_over(texts: Sequence[str]) -> str:
    often = f" {counted(len(texts), 'time')}, last" if len(texts) > 1 else ""
    return f"a warning was passed over{often}: {texts[-1]}"


def _overridden(practised: Practised) -> list[str]:
    return [f"gone on without {title.lower()}: {reason}" for title, reason in practised.overridden.items()]


def _decided(practised: Practised) -> list[str]:
    at_mm, truth_mm, answer = practised.decided_mm, practised.onset_mm, practised.answer
    if at_mm is None:
        return ["no setback was decided"]
    if truth_mm is not None and at_mm < truth_mm:
        return [f"{at_mm:g} mm was chosen, {truth_mm - at_mm:.0f} mm forward of the onset: the hands carry more there"]
    if truth_mm is not None and at_mm > truth_mm + TOO_FAR_MM:
        behind = at_mm - truth_mm
        return [f"{at_mm:g} mm was chosen, {behind:.0f} mm behind the onset: an onset is no target for going back"]
    if truth_mm is None and answer is not None and answer.onset_mm is not None:
        return ["an onset was taken from a rider who has none: see what was wrong, and the tests that were not made"]
    return []
