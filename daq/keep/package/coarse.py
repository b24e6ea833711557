"""Days to months and masses to 5 kg, so that who knows when somebody was fitted, or their mass, does not find them.

Loads, steps and the onset stay as they are. The feet, which are what remains of the weight, are computed with the
coarse mass, and what was answered at the time is left out: either would give the mass away. Pure.
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
    """The beginning of its month; what is no date stays."""
    found = re.match(r"\d{4}-\d\d", utc)
    return f"{found[0]}-01T00:00:00+00:00" if found else utc


def coarse(content: Any) -> Any:
    """Whatever JSON holds, with its days and masses coarse."""
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
    """number: in place of the host's clock; an import tells sweeps of one month apart by it."""
    return replace(session, started_utc=month(session.started_utc), monotonic_origin_ns=number)


def coarse_sweep(sweep: SweepRecord) -> SweepRecord:
    """With what was entered of the rider coarse."""
    return replace(sweep, rider=coarse(sweep.rider), plan=coarse(sweep.plan))


def _mass(mass_kg: Any) -> Any:
    return round(mass_kg / MASS_STEP_KG) * MASS_STEP_KG if isinstance(mass_kg, int | float) else None
