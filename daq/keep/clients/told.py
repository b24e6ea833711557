"""The stored tests in the form a panel of riders takes: each answer with its rider, its day and what its record knows.
They are read afresh each time, so that a forgotten client is gone from the panel at once. Uninformative ones are left
out and named: a sweep that a test of validity forbids, one with an unknown rider, one without a stored likelihood.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from daq.keep.clients import people, visits
from daq.keep.store import Store
from daq.keep.store.sessions import SweepRecord
from daq.rig import RigError, parse_rig
from daq.sweep.panel import Entry
from daq.sweep.workshop import Told
from daq.values import NAN, Likelihood

WITHOUT_LIKELIHOOD = "its answer is by an earlier method, which kept no likelihood; an archive computes it again"


@dataclass(frozen=True, slots=True)
class Gathered:
    """The tests, and why others were left out."""

    tests: tuple[Told, ...]
    left_out: Mapping[str, str]
    """Reason by sweep."""
    verdicts: Mapping[str, int]
    """Number of sweeps by verdict, including those left out."""
    failed: Mapping[str, int]
    """How often each test of validity failed."""


class NotTold(ValueError):
    """A sweep that says nothing about the onset; the text says why."""


def told_in(store: Store, *, simulated: bool = False, client_id: int | None = None) -> Gathered:
    """Every test in the store, or one client's. simulated: those of simulated riders instead of real ones."""
    told: list[Told] = []
    left_out: dict[str, str] = {}
    verdicts: dict[str, int] = {}
    failed: dict[str, int] = {}
    fitters = _fitters(store)
    for sweep in store.sweeps():
        session = store.session(sweep.session_id)
        if session.simulated is not simulated or client_id not in (None, sweep.client_id):
            continue
        results = store.results(sweep.id, "onset")
        answer: dict[str, Any] = results[-1].content if results else {}
        if "verdict" in answer:
            verdicts[answer["verdict"]] = verdicts.get(answer["verdict"], 0) + 1
        for one in answer.get("validity", ()):
            if one["result"] == "failed":
                failed[one["test"]] = failed.get(one["test"], 0) + 1
        try:
            told.append(
                told_by(
                    str(sweep.id),
                    answer,
                    rider=_rider(store, sweep),
                    begun=_begun(session.started_utc, sweep.from_us),
                    gradient_pct=sweep.gradient_pct,
                    protocol=str(sweep.plan.get("protocol", "")),
                    rig=_rig_name(session.rig),
                    fitter=fitters.get(sweep.id, ""),
                )
            )
        except NotTold as why:
            left_out[str(sweep.id)] = str(why)
    return Gathered(tuple(told), left_out, verdicts, failed)


def told_by(
    name: str,
    answer: Mapping[str, Any],
    *,
    rider: str,
    begun: datetime.datetime,
    gradient_pct: float,
    protocol: str,
    rig: str,
    fitter: str = "",
) -> Told:
    """One test from its stored or exported answer. NotTold."""
    if not answer:
        raise NotTold("it has no answer: it was cut off or stopped before five places were ridden")
    if not rider:
        raise NotTold("it was ridden without a client: whose test it was is not known")
    for one in answer.get("validity", ()):
        if one["forbids"]:
            raise NotTold(f"no verdict may be drawn from it: {one['means']}")
    kept = answer.get("likelihood")
    if not kept:
        raise NotTold(WITHOUT_LIKELIHOOD)
    likelihood = Likelihood(**{**kept, "log_l": tuple(kept["log_l"])})
    return Told(
        sweep=name,
        entry=Entry(rider, begun.date().isoformat(), likelihood),
        verdict=str(answer["verdict"]),
        slope_n_per_mm=NAN if answer["slope_n_per_mm"] is None else float(answer["slope_n_per_mm"]),
        gradient_pct=gradient_pct,
        bar_fixed=protocol == "bar fixed",
        hour=begun.hour + begun.minute / 60.0,
        rig=rig,
        fitter=fitter,
    )


def _rider(store: Store, sweep: SweepRecord) -> str:
    return "" if sweep.client_id is None else people.client(store, sweep.client_id).pseudonym


def _begun(started_utc: str, from_us: int) -> datetime.datetime:
    """In the workshop's time zone: a day is the workshop's, not Greenwich's."""
    return (datetime.datetime.fromisoformat(started_utc) + datetime.timedelta(microseconds=from_us)).astimezone()


def _rig_name(text: str) -> str:
    try:
        return parse_rig(text).name
    except RigError:
        return "not known"


def _fitters(store: Store) -> dict[int, str]:
    """Who decided at the visit of each sweep."""
    found: dict[int, str] = {}
    for visit in visits.visits(store):
        notes = visits.notes(store, visit.id)
        deciders = [str(one.content.get("decided_by", "")) for one in notes if one.kind == "decision"]
        if deciders:
            found |= {int(one.content["sweep_id"]): deciders[-1] for one in notes if one.kind == "sweep"}
    return found
