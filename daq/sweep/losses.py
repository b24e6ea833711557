"""What is lost of a sweep's raw data, in one sentence for its answer."""

from __future__ import annotations

from collections.abc import Sequence

from daq.items import Event

MOST_NAMED = 3
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


def says_lost(reason: object) -> bool:
    """Whether a reason of an answer is that sentence."""
    return str(reason).startswith(LEAD)
