"""The visit now open: who is here, what was written down today, and whether a sweep may begin.

Everything entered is kept in the store before it is shown. A sweep without a visit is a trial: it is stored, but
belongs to no client and ends in no decision.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from daq.fit import returning
from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import Intake, clinician_advice
from daq.fit.prechecks import TRIAGE, Check, Measured, Readings, prechecks, standing_in_the_way
from daq.fit.ridden import Ridden
from daq.keep.clients import people, visits
from daq.keep.clients.people import Client, Consent
from daq.keep.store import Store
from daq.live.session.adding_up import sum_while_riding
from daq.live.session.storing import Storing
from daq.live.telling import messages, view
from daq.refusals import NotNow
from daq.values import NAN, Array

if TYPE_CHECKING:
    from daq.live.session.session import Session

T = TypeVar("T")
FRESH_S = 3.0
"""A stroke older than this, on the clock on the wall, says nothing about the effort now."""
KEPT_YEARS = 10
"""How long records are kept unless the client says otherwise. Common practice, no source; local rules differ."""


def usual_keep_until() -> datetime.date:
    """The day until which records begun today are kept unless another is agreed."""
    return datetime.date.today() + datetime.timedelta(days=round(365.25 * KEPT_YEARS))


class VisitDesk:
    """What is known of the client on the jig. Empty until a visit is opened."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.id: int | None = None
        self.client: Client | None = None
        self.intake: Intake | None = None
        self.returning = ""
        """What the intake is filled in from, while it is that of the last visit and not yet confirmed today."""
        self.measured = Measured()
        self.reasons: dict[str, str] = {}
        self.decision: dict[str, Any] | None = None
        self.swept = False
        """Whether a sweep was set up in this visit."""
        self.zero_us: int | None = None
        self.holds_n: list[Array] = []
        """Loads of the cells with the feet off the pedals, one entry a hold since the zero."""
        self.ridden: dict[int, Ridden] = {}
        """Sweeps that have ended, by id."""
        self._told = ""

    async def new_client(
        self, *, name: str | None, consents: dict[Consent, bool], keep_until: datetime.date | None = None
    ) -> Client:
        """A client under a new pseudonym, with what was agreed to; kept the usual time unless a date is given."""

        def add(store: Store) -> Client:
            made = people.add_client(store, name=name or None, keep_until=keep_until or usual_keep_until())
            for kind, given in consents.items():
                people.set_consent(store, made.id, kind, given)
            return made

        return await self.ask(add)

    async def open(self, pseudonym: str) -> None:
        """Begin a visit of this client; a returning one starts from last time. NotNow during a sweep."""
        self._session.refuse_during_sweep("a client is changed")

        def begin(store: Store) -> tuple[Client, int, tuple[Intake | None, str]]:
            client = people.client_called(store, pseudonym)
            last = last_time(store, client.id)
            return client, visits.begin_visit(store, client.id, self._storing().session_id), last

        self.client, self.id, (self.intake, self.returning) = await self.ask(begin)
        self.measured, self.reasons, self.decision, self.swept = Measured(), {}, None, False
        self.holds_n.clear()
        self._seat()

    def reopen(self, store: Store, session_id: int) -> None:
        """Take up the visit of a session that was cut off, as far as it was written down."""
        record = visits.visit_of_session(store, session_id)
        if record is None:
            return
        self.id, self.client = record.id, people.client(store, record.client_id)
        for note in visits.notes(store, record.id):
            if note.kind == "intake":
                self.intake = Intake.model_validate(note.content)
            elif note.kind == "measured":
                self.measured = Measured.model_validate(note.content)
            elif note.kind == "override":
                self.reasons[note.content["check"]] = note.content["reason"]
            elif note.kind == "decision":
                self.decision = note.content
            elif note.kind == "sweep":
                self.swept = True
        self._seat()

    async def take_intake(self, intake: Intake) -> None:
        """Keep today's intake. NotNow during a sweep: its mass is in use."""
        self._session.refuse_during_sweep("the intake is changed")
        await self.note("intake", intake.model_dump())
        self.intake, self.returning = intake, ""
        self._seat()

    async def take_measured(self, measured: Measured) -> None:
        """Keep what was measured and set on the jig."""
        await self.note("measured", measured.model_dump())
        self.measured = measured
        self.tell()

    async def override(self, check: str, reason: str) -> None:
        """Go on without a check, with a reason. ValueError for a check there is not or that is not open."""
        found = next((one for one in self.checks() if one.key == check), None)
        if found is None:
            raise ValueError(f"check: expected one of {', '.join(one.key for one in self.checks())}, got {check}")
        await self.note("override", {"check": check, "reason": reason, "said": found.said, "title": found.title})
        self.reasons[check] = reason
        self.tell()

    async def decide(self, content: dict[str, Any]) -> None:
        """Keep the fitter's decision."""
        await self.note("decision", content)
        self.decision = content
        self.tell()

    async def sweep_begun(self, sweep_id: int | None) -> None:
        """Keep that this sweep belongs to the open visit, if there is one."""
        if self.id is not None:
            await self.note("sweep", {"sweep_id": sweep_id})
            self.swept = True

    def sweep_ended(self, sweep_id: int, state: str) -> None:
        """Keep the sweep as it was ridden: the same that would be computed from its raw, without the wait."""
        session, progress = self._session, self._session.progress
        if progress is not None:
            self.ridden[sweep_id] = Ridden(
                sweep_id=sweep_id,
                plan=progress.plan,
                state=str(state),
                steps=tuple(progress.steps),
                onset=session.onset,
                mass_kg=session.pipeline.mass_kg,
                notes=session.remarks.notes,
                marks=session.remarks.marks,
                calibration=session.pipeline.calibration,
                shapes=session.strokes.of(progress.steps),
            )

    async def note(self, kind: str, content: Any) -> None:
        """Write something down in the open visit. NotNow without one."""
        visit_id = self.open_id()
        await self.ask(lambda store: visits.add_note(store, visit_id, kind, content))

    def open_id(self) -> int:
        """The open visit's id. NotNow without one."""
        if self.id is None:
            raise NotNow("no client is here; choose one on the client screen first")
        return self.id

    async def ask(self, use: Callable[[Store], T]) -> T:
        """Run use(store) after all that waits. NotNow without a store; StoreError."""
        return await self._storing().call(use)

    def checks(self) -> tuple[Check, ...]:
        """The checks as they stand now; none without an intake."""
        if self.intake is None:
            return ()
        return prechecks(self.intake, self.measured, readings(self._session), self.reasons)

    def in_the_way(self) -> str:
        """Why a sweep may not begin; empty when it may, or when it is a trial."""
        if self.id is None:
            return ""
        if self.intake is None or self.returning:
            return "the intake is not confirmed yet; see the client screen"
        return standing_in_the_way(self.checks())

    def fields(self) -> dict[str, Any] | None:
        """What a page is shown; None without a visit. Never the name."""
        if self.id is None or self.client is None:
            return None
        return {
            "id": self.id,
            "pseudonym": self.client.pseudonym,
            "intake": None if self.intake is None else self.intake.model_dump(),
            "returning": self.returning,
            "advice": "" if self.intake is None else clinician_advice(self.intake),
            "measured": self.measured.model_dump(),
            "checks": messages.plain(self.checks()),
            "triage": TRIAGE,
            "in_the_way": self.in_the_way(),
            "decision": self.decision,
            "swept": self.swept,
        }

    def tell(self) -> None:
        """Send the visit to the pages when it is not what they were last sent."""
        told = messages.text("visit", visit=self.fields())
        if told != self._told:
            self._told = told
            self._session.hub.send(told)

    def _seat(self) -> None:
        """The rider of the session is this client."""
        assert self.client is not None
        mass_kg = None if self.intake is None or self.returning else self.intake.mass_kg
        self._session.seat(view.Rider(self.client.pseudonym, mass_kg))
        self.tell()

    def _storing(self) -> Storing:
        if self._session.storing is None:
            raise NotNow("there is no store, so nothing can be kept of a client")
        return self._session.storing


def last_time(store: Store, client_id: int) -> tuple[Intake | None, str]:
    """What a client's form is filled in with, and that in words; None and nothing at the first visit."""
    intake = visits.last_of_client(store, client_id, "intake")
    if intake is None:
        return None, ""
    since = (visits.last_of_client(store, client_id, kind) for kind in ("decision", "follow-up"))
    decision, answer = (note if note is not None and note.id > intake.id else None for note in since)
    filled_in = returning.from_last_time(
        Intake.model_validate(intake.content),
        None if decision is None else Decision.model_validate(decision.content),
        None if answer is None else FollowUp.model_validate(answer.content),
    )
    words = returning.said(*(None if note is None else note.made_utc for note in (decision, answer)))
    return filled_in, words


def readings(session: Session) -> Readings:
    """What the jig shows now, for the checks."""
    now_s = session.clock.now_us() / 1e6
    stroke, progress, zero_us = session.stroke, session.progress, session.desk.zero_us
    fresh = stroke is not None and now_s - stroke.end_s < FRESH_S * session.clock.pace
    plan = None if progress is None or session.ended else progress.plan
    return Readings(
        troubles=view.troubles(session),
        calibration=session.calibrating.validity().sentence,
        calibration_holds=session.calibrating.validity().allows_verdict,
        zero_age_s=None if zero_us is None else (now_s - zero_us / 1e6) / session.clock.pace,
        weights=sum_while_riding(session, stroke) if stroke is not None and fresh else None,
        tilt_deg=_tilt_deg(session),
        gradient_pct=0.0 if plan is None else plan.gradient_pct,
        power_w=stroke.power_w if stroke is not None and fresh else NAN,
        cadence_rpm=stroke.cadence_rpm if stroke is not None and fresh else NAN,
        power_band_w=None if plan is None else view.power_band_w(plan),
    )


def _tilt_deg(session: Session) -> float:
    """Mean tilt over the last second, to a tenth of a degree; NaN without one."""
    newest = session.backlog.last(1.0)
    values = np.concatenate([loads.tilt_deg for loads in newest]) if newest else np.empty(0)
    known = values[~np.isnan(values)]
    return round(float(known.mean()), 1) if len(known) else math.nan
