"""What a client's tests say about another day, and what all riders' repeats show, for a page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from daq.fit.case import Case
from daq.fit.days import Days, days
from daq.fit.ridden import main_sweep
from daq.fit.workshop_words import panel_fields
from daq.keep.clients.told import Gathered
from daq.keep.json_text import plain
from daq.sweep.spreads import Priors
from daq.sweep.workshop import taught


def days_of(case: Case, gathered: Gathered, priors: Priors | None) -> Days | str:
    """The visit's main sweep in the light of all tests, or why it says nothing beyond today."""
    main = main_sweep(case.sweeps)
    if main is None:
        return "no sweep was ridden in this visit"
    found = days(taught(gathered.tests, priors), str(main.sweep_id)) if gathered.tests else None
    return found or gathered.left_out.get(str(main.sweep_id), "the sweep has not ended yet")


def days_fields(found: Days | str) -> dict[str, Any]:
    """The same for a page; `why_not` if there is nothing to say."""
    if isinstance(found, str):
        return {"days": None, "why_not": found}
    fields: dict[str, Any] = plain(found)
    fields["moved"] = [{**plain(one), "clear": one.clear} for one in found.moved]
    fields["helps"] = [{**plain(one), "open": math.isinf(one.width_mm)} for one in found.helps]
    return {"days": fields, "why_not": None}


def workshop_fields(gathered: Gathered, priors: Priors | None) -> Mapping[str, Any]:
    """What the repeats in the store show; `panel` is None before the first informative test."""
    if not gathered.tests:
        return {"panel": None, "left_out": dict(gathered.left_out)}
    found = taught(gathered.tests, priors)
    return {
        "panel": plain(panel_fields(found, gathered.tests, gathered.verdicts, gathered.failed, gathered.left_out)),
        "left_out": dict(gathered.left_out),
    }
