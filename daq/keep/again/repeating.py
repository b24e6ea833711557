"""The repeat of a client's last test, planned from the plan that was ridden."""

from __future__ import annotations

from collections.abc import Sequence

from daq.fit.repeat import repeat_of
from daq.keep.store import Store
from daq.refusals import BadValue
from daq.sweep.plan import BadPlan, Plan
from daq.sweep.workshop import KnownTest


def repeat_in(store: Store, tests: Sequence[KnownTest], client: str) -> tuple[KnownTest, Plan]:
    """The test to repeat and its plan, shuffled with the number of that test as the seed. ValueError if there is none,
    or if that sweep was not planned as one of these."""
    own = [one for one in tests if one.client == client]
    if not own:
        raise BadValue(f"no sweep of {client} says anything about an onset yet: ride one first", see="plan")
    last = max(own, key=lambda one: (one.entry.day, int(one.sweep)))
    ridden = store.sweep(int(last.sweep)).plan
    try:
        plan = Plan(**{**ridden, "positions_mm": tuple(ridden["positions_mm"])})
        return last, repeat_of(plan, int(last.sweep))
    except (BadPlan, KeyError, TypeError) as error:
        raise ValueError(f"sweep {last.sweep} of {client} cannot be planned again: {error}") from error


def repeats_in(store: Store, tests: Sequence[KnownTest], clients: Sequence[str]) -> dict[str, Plan]:
    """The same for several, without those that cannot be planned."""
    found = {}
    for client in clients:
        try:
            found[client] = repeat_in(store, tests, client)[1]
        except ValueError:
            continue
    return found
