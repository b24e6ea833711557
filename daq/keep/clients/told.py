"""The stored tests in the form a panel of riders takes: each answer with its rider, day and what its record knows.
They are read afresh each time, so that a forgotten client is gone from the panel at once. Left out and named are sweeps
that a test of validity forbids, such as those of a failed calibration, sweeps on a jig whose proof failed, those of an
unknown rider, and those without a stored likelihood.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from daq.keep.clients import people, visits
from daq.keep.store import Store
from daq.keep.store.sessions import SweepRecord
from daq.proof.standing import FAILED as PROOF_FAILED
from daq.rig_file import RigError, parse_rig
from daq.sweep.panel import Entry
from daq.sweep.workshop import KnownTest
from daq.values import NAN, Likelihood

WITHOUT_LIKELIHOOD = "its answer is by an earlier method, which kept no likelihood; an archive computes it again"


@dataclass(frozen=True, slots=True)
class Gathered:
    """The tests, and why others were left out."""

    tests: tuple[KnownTest, ...]
    left_out: Mapping[str, str]
    """Reason by sweep."""
    verdicts: Mapping[str, int]
    """Number of sweeps by verdict, including those left out."""
    failed: Mapping[str, int]
    """How often each test of validity failed."""


class NotTold(ValueError):
    """A sweep that says nothing about the onset; the text says why."""


@dataclass(frozen=True, slots=True)
class _Visit:
    """What a visit's notes say of a sweep."""

    fitter: str = ""
    saddle: str = ""
    reference: str = ""


def told_in(store: Store, *, simulated: bool = False, research: bool = False) -> Gathered:
    """Every test in the store. simulated: those of simulated riders instead of real ones. research: only of clients who
    have agreed to it, for what leaves the workshop."""
    told: list[KnownTest] = []
    left_out: dict[str, str] = {}
    verdicts: dict[str, int] = {}
    failed: dict[str, int] = {}
    noted = _noted(store)
    for sweep in store.sweeps():
        session = store.session(sweep.session_id)
        if session.simulated is not simulated:
            continue
        results = store.results(sweep.id, "onset")
        answer: dict[str, Any] = results[-1].content if results else {}
        if "verdict" in answer:
            verdicts[answer["verdict"]] = verdicts.get(answer["verdict"], 0) + 1
        for one in answer.get("validity", ()):
            if one["result"] == "failed":
                failed[one["test"]] = failed.get(one["test"], 0) + 1
        visit = noted.get(sweep.id, _Visit())
        try:
            told.append(
                told_by(
                    str(sweep.id),
                    answer,
                    rider=_rider(store, sweep, research=research and not simulated),
                    begun=_begun(session.started_utc, sweep.from_us),
                    gradient_pct=sweep.gradient_pct,
                    protocol=str(sweep.plan.get("protocol", "")),
                    rig=_rig_name(session.rig),
                    fitter=visit.fitter,
                    saddle=visit.saddle,
                    reference=visit.reference,
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
    saddle: str = "",
    reference: str = "",
    workshop: str = "",
) -> KnownTest:
    """One test from its stored or exported answer. NotTold."""
    if not answer:
        raise NotTold("it has no answer: it was cut off or stopped before five places were ridden")
    if not rider:
        raise NotTold("it was ridden without a client: whose test it was is not known")
    for one in answer.get("validity", ()):
        if one["forbids"]:
            jig = f" on jig {rig}" if one["test"] == "calibration" else ""
            raise NotTold(f"no verdict may be drawn from it{jig}: {one['means']}")
    for said in answer.get("evidence", ()):
        if said.startswith(PROOF_FAILED):
            raise NotTold(f"it was ridden on jig {rig}: {said}")
    kept = answer.get("likelihood")
    if not kept:
        raise NotTold(WITHOUT_LIKELIHOOD)
    likelihood = Likelihood(**{**kept, "log_l": tuple(kept["log_l"])})
    return KnownTest(
        sweep=name,
        client=rider,
        entry=Entry(" on ".join(filter(None, (rider, reference, saddle))), begun.date().isoformat(), likelihood),
        verdict=str(answer["verdict"]),
        slope_n_per_mm=NAN if answer["slope_n_per_mm"] is None else float(answer["slope_n_per_mm"]),
        gradient_pct=gradient_pct,
        bar_fixed=protocol == "bar fixed",
        hour=begun.hour + begun.minute / 60.0,
        rig=rig,
        fitter=fitter,
        reference=reference,
        workshop=workshop,
    )


def _rider(store: Store, sweep: SweepRecord, *, research: bool) -> str:
    if sweep.client_id is None:
        return ""
    if research and not people.consents(store, sweep.client_id)["research"]:
        raise NotTold("its client has not agreed to the use of records in research")
    return people.client(store, sweep.client_id).pseudonym


def _begun(started_utc: str, from_us: int) -> datetime.datetime:
    """In the workshop's time zone: a day is the workshop's, not Greenwich's. NotTold without a time."""
    try:
        return (datetime.datetime.fromisoformat(started_utc) + datetime.timedelta(microseconds=from_us)).astimezone()
    except (ValueError, OverflowError) as error:
        raise NotTold("when it was ridden is not known") from error


def _rig_name(text: str) -> str:
    try:
        return parse_rig(text).name
    except RigError:
        return "not known"


def _noted(store: Store) -> dict[int, _Visit]:
    """Who decided at the visit of each sweep, and on which saddle it was ridden: as the intake before it says."""
    found: dict[int, _Visit] = {}
    for visit in visits.visits(store):
        notes = visits.notes(store, visit.id)
        fitter = next((str(one.content.get("decided_by", "")) for one in reversed(notes) if one.kind == "decision"), "")
        saddle: Mapping[str, Any] = {}
        for one in notes:
            if one.kind == "intake":
                saddle = one.content.get("saddle", {})
            elif one.kind == "sweep":
                named = str(saddle.get("name") or "").strip().casefold()
                found[int(one.content["sweep_id"])] = _Visit(fitter, named, str(saddle.get("reference") or ""))
    return found
