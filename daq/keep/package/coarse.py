"""Reduces dates to months and masses to steps of 5 kg, so that somebody who knows a person's date of fitting or mass
cannot find them.

Loads, steps and the onset stay as they are. The foot load, the rest of the weight, is computed with the coarse mass,
and the answers given at the time are left out: either would reveal the mass. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from daq.items import Event, Item
from daq.keep.store.sessions import SessionRecord, SweepRecord

MASS_STEP_KG = 5.0
_DAY = re.compile(r"\b(\d{4}-\d\d)-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?(?: ?(?:Z|UTC|[+-]\d\d:?\d\d))?)?")


def month(utc: str) -> str:
    """The first of the month; anything that is not a date is unchanged."""
    found = re.match(r"\d{4}-\d\d", utc)
    return f"{found[0]}-01T00:00:00+00:00" if found else utc


def coarse(content: Any) -> Any:
    """JSON content with dates and masses coarse."""
    if isinstance(content, dict):
        return {key: _mass(value) if key == "mass_kg" else coarse(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [coarse(value) for value in content]
    return _DAY.sub(r"\1", content) if isinstance(content, str) else content


def coarse_items(items: Iterable[Item]) -> Iterator[Item]:
    """The items as they are exported."""
    for item in items:
        yield replace(item, content=coarse(item.content)) if isinstance(item, Event) else item


def coarse_session(session: SessionRecord, number: int) -> SessionRecord:
    """number: replaces the host's clock; an import uses it to tell sweeps of one month apart."""
    return replace(session, started_utc=month(session.started_utc), monotonic_origin_ns=number)


def coarse_sweep(sweep: SweepRecord) -> SweepRecord:
    """With the rider's data coarse."""
    return replace(sweep, rider=coarse(sweep.rider), plan=coarse(sweep.plan))


def _mass(mass_kg: Any) -> Any:
    return round(mass_kg / MASS_STEP_KG) * MASS_STEP_KG if isinstance(mass_kg, int | float) else None
