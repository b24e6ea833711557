"""What the fitter did during a sweep, as other formats have it among their events. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from daq.items import FITTER, Event, Item


def acts(items: Iterable[Item], begin_s: float) -> list[tuple[float, str]]:
    """(s from begin_s, what) of each. begin_s in session time; what was done before stands at a negative time."""
    return [
        (item.received_us / 1e6 - begin_s, str(item.content["event"]))
        for item in items
        if isinstance(item, Event) and item.kind == FITTER
    ]
