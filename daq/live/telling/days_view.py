"""What a client's tests say about another day, and what all riders' repeats show, for a page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from daq.fit.case import Case
from daq.fit.days import Days, days
from daq.fit.days_words import moved_said
from daq.fit.ridden import main_sweep
from daq.fit.workshop_words import panel_fields, who_could_repeat
from daq.keep.clients.told import Gathered
from daq.keep.json_text import plain
from daq.sweep.spreads import JUDGED, SpreadPriors, Spreads
from daq.sweep.workshop import KnownTest, Taught, taught


@lru_cache(maxsize=2)
def _taught(tests: tuple[KnownTest, ...], priors: SpreadPriors | None) -> Taught:
    """Decide asks for the evidence and then for other days: the same tests teach the same."""
    return taught(tests, priors)


def taught_until(case: Case, gathered: Gathered, priors: SpreadPriors | None) -> Taught | None:
    """What was known on the day of the visit, so that its sheet stays the same; None: nobody was tested by then."""
    own = {str(one.sweep_id) for one in case.sweeps}
    until = max((one.entry.day for one in gathered.tests if one.sweep in own), default=case.begun_utc[:10])
    known = tuple(one for one in gathered.tests if one.entry.day <= until)
    return _taught(known, priors) if known else None


def scatter_of(case: Case, gathered: Gathered, priors: SpreadPriors | None) -> Spreads:
    """How far two sweeps of an unchanged rider lie apart, as known on the day of the visit."""
    known = taught_until(case, gathered, priors)
    return JUDGED if known is None else known.panel.scatter


def days_of(case: Case, gathered: Gathered, priors: SpreadPriors | None) -> Days | str:
    """The visit's main sweep in the light of all tests until then, or why it says nothing beyond today. Today's
    interval is the answer's: the panel's own, on a coarser grid, differs by a little.

    Without a named onset nothing is foretold: an interval or a chance for another day would name a place that the sweep
    itself does not.
    """
    main = main_sweep(case.sweeps)
    if main is None:
        return "no sweep was ridden in this visit"
    known = taught_until(case, gathered, priors)
    found = None if known is None else days(known, str(main.sweep_id))
    if found is None:
        return gathered.left_out.get(str(main.sweep_id), "the sweep has not ended yet")
    if main.named is None:
        return "no onset is named, so nothing is foretold of another day"
    if main.named.interval_95_mm is None:
        return found
    return replace(found, today_mm=main.named.interval_95_mm)


def known_of(found: Days | str) -> Days | None:
    """The same without the reason why not."""
    return None if isinstance(found, str) else found


def days_fields(found: Days | str) -> dict[str, Any]:
    """The same for a page; `why_not` if there is nothing to say."""
    if isinstance(found, str):
        return {"days": None, "why_not": found}
    fields: dict[str, Any] = plain(found)
    fields["moved"] = [{**plain(one), "clear": one.clear, "said": moved_said(one)} for one in found.moved]
    fields["helps"] = [{**plain(one), "open": math.isinf(one.width_mm)} for one in found.helps]
    return {"days": fields, "why_not": None}


def workshop_fields(gathered: Gathered, priors: SpreadPriors | None) -> Mapping[str, Any]:
    """What the repeats in the store show; `panel` is None before the first informative test."""
    if not gathered.tests:
        return {"who": [], "panel": None, "left_out": dict(gathered.left_out)}
    found = _taught(gathered.tests, priors)
    return {
        "who": [{"client": client, "day": day} for client, day in who_could_repeat(found)],
        "panel": plain(panel_fields(found, gathered.tests, gathered.verdicts, gathered.failed, gathered.left_out)),
        "left_out": dict(gathered.left_out),
    }
