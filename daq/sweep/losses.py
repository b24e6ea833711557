"""What is lost of a sweep's raw data, in one sentence for its answer."""

from __future__ import annotations

import re
from collections.abc import Sequence

from daq.items import Event

MOST_NAMED = 3
"""In an answer."""
MOST_LISTED = 5
"""In a list of sweeps."""
_TIMES = re.compile(r"from (\d+\.\d+) to (\d+\.\d+) s")
LEAD = "some of what was received in this sweep is lost: "


def losses_said(losses: Sequence[Event], left_out: int = 0) -> str:
    """One sentence on these events of daq.items.LOST; empty without any.

    left_out: steps that have no mean because of them.
    """
    if not losses:
        return ""
    named = "; ".join(str(event.content["said"]) for event in losses[:MOST_NAMED])
    more = len(losses) - MOST_NAMED
    others = f"; and {more} more such gaps" if more > 0 else ""
    steps = f"; {left_out} {'step is' if left_out == 1 else 'steps are'} left out because of it" if left_out else ""
    return f"{LEAD}{named}{others}{steps}. Computed from the rest"


def in_short(phrases: Sequence[str]) -> list[str]:
    """The first of many phrases on what is lost, as `MOST_LISTED` says; then how many more, and how long all last that
    say from when to when, what is lost at the same time counted once."""
    more = len(phrases) - MOST_LISTED
    if more <= 0:
        return list(phrases)
    spans = sorted((float(one[1]), float(one[2])) for one in map(_TIMES.search, phrases) if one)
    total_s, until_s = 0.0, 0.0
    for from_s, to_s in spans:
        total_s += max(0.0, to_s - max(from_s, until_s))
        until_s = max(until_s, to_s)
    lasting = f", {total_s:.1f} s in all" if spans else ""
    return [*phrases[:MOST_LISTED], f"and {more} more{lasting}"]


def says_lost(reason: object) -> bool:
    """Whether a reason of an answer is that sentence."""
    return str(reason).startswith(LEAD)
