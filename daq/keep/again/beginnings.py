"""A sweep whose beginning is lost: rebuilt from what is left, and never with a verdict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from daq.items import FITTER, LOST, SWEEP_BEGUN, Event, Hello, Item

UNKNOWN = (
    "the event that began this sweep is lost, and with it the zero and how the calibration stood: no verdict without it"
)


def with_beginning(items: Iterable[Item], plan: Mapping[str, Any] | None, mass_kg: float | None) -> Iterator[Item]:
    """The items; if something is lost and the fitter's events belong to a sweep without a beginning, one is inserted
    before them. Its channels are those of the last hello. Without a plan nothing is inserted.
    """
    begun, gaps = False, list[Item]()
    channels: list[str] = []
    for item in items:
        if isinstance(item, Hello):
            channels = [str(channel["name"]) for channel in item.content["channels"]]
        elif isinstance(item, Event):
            gaps += [item] if item.kind == LOST else []
            begun |= item.kind == SWEEP_BEGUN
            if item.kind == FITTER and gaps and not begun and plan is not None:
                begun = True
                yield from (_beginning(item.received_us, plan, mass_kg, channels), *gaps)
        yield item


def _beginning(at_us: int, plan: Mapping[str, Any], mass_kg: float | None, channels: list[str]) -> Event:
    content = {
        "plan": dict(plan),
        "mass_kg": mass_kg,
        "channels": channels,
        "zero_counts": None,
        "calibration": {"id": "", "allows_verdict": False, "sentence": UNKNOWN},
    }
    return Event(at_us, SWEEP_BEGUN, content)
