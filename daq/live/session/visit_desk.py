"""The open visit: who is here, what was written down today, and whether a sweep may begin. Everything entered is stored
before it is shown. A sweep without a visit is a trial: it is stored, but belongs to no client and leads to no decision.
"""

from __future__ import annotations

import asyncio
import datetime
from collections.abc import Callable
from typing import Any, TypeVar

from daq.fit import returning
from daq.fit.decision import Decision, FollowUp
from daq.fit.intake import BegunIntake, Intake, Saddle, flags_in_the_way, missing, whole
from daq.fit.prechecks import Check, JigReadings, Measured, open_in_the_way, prechecks
from daq.fit.ridden import Ridden
from daq.keep.clients import people, visits
from daq.keep.clients.people import Client, Consent
from daq.keep.store import Store
from daq.live.session.acquisition import Rider
from daq.live.session.occupied import Occupied
from daq.live.session.storing import Storing
from daq.refusals import NotNow

T = TypeVar("T")
Whose = tuple[Client, int, tuple[Intake | None, str]]
KEPT_YEARS = 10
"""How long records are kept unless the client says otherwise. Common practice, no source; local rules differ."""


def usual_keep_until() -> datetime.date:
    """The day until which records begun today are kept, unless another is agreed."""
    return people.today() + datetime.timedelta(days=round(365.25 * KEPT_YEARS))


class VisitDesk:
    """What is known about the client on the jig. Empty until a visit is opened."""

    def __init__(
        self,
        occupied: Occupied,
        *,
        kept_by: Callable[[], Storing],
        seat: Callable[[Rider], None],
        readings: Callable[[], JigReadings],
    ) -> None:
        """kept_by: the store's keeper. seat: called with who rides from now on. readings: returns what the jig shows
        now, for the checks."""
        self._occupied, self._kept_by, self._sits, self._readings = occupied, kept_by, seat, readings
        self.hears_other_rider: list[Callable[[], None]] = []
        """Called when another rider sits on the jig: what was found about the previous one is to be forgotten."""
        self.id: int | None = None
        self.client: Client | None = None
        self.nth = 0
        """Which visit of this client it is, counted from 1."""
        self.begun: BegunIntake | None = None
        """The intake as far as it is entered, complete or not."""
        self.intake: Intake | None = None
        self.returning = ""
        """The last visit's intake, which prefills today's until it is confirmed."""
        self.measured = Measured()
        self._one_measure_at_a_time = asyncio.Lock()
        self.reasons: dict[str, str] = {}
        self.decision: dict[str, Any] | None = None
        self.swept = False
        """Whether a sweep was set up in this visit."""
        self._sweep_ids: list[int] = []
        self.ridden: dict[int, Ridden] = {}
        """Finished sweeps, by id: the same as recomputing them from raw data, without the wait."""

    async def new_client(
        self, *, name: str | None, consents: dict[Consent, bool], keep_until: datetime.date | None = None
    ) -> Client:
        """Add a client under a new pseudonym, with the consents given; kept for the usual time unless a date is
        given."""

        def add(store: Store) -> Client:
            made = people.add_client(store, name=name or None, keep_until=keep_until or usual_keep_until())
            for kind, given in consents.items():
                people.set_consent(store, made.id, kind, given)
            return made

        return await self._kept_by().call(add)

    async def open(self, pseudonym: str) -> None:
        """Begin a visit of this client; a returning one starts from last time's answers. NotNow during a sweep."""
        self._occupied.refuse("a client is changed", by=("sweep",))

        session_id = self._kept_by().session_id

        def begin(store: Store) -> tuple[Client, int, int, tuple[Intake | None, str]]:
            client = people.client_called(store, pseudonym)
            last = last_time(store, client.id)
            made = visits.begin_visit(store, client.id, session_id)
            return client, made, visits.nth(store, made), last

        self.client, self.id, self.nth, (self.intake, self.returning) = await self._kept_by().call(begin)
        self.begun = self.intake
        self.measured, self.reasons, self.decision, self.swept = Measured(), {}, None, False
        self._sweep_ids = []
        for hears in self.hears_other_rider:
            hears()
        self._seat()
        await self._kept_by().stored()

    async def change_records(self, change: Callable[[Store], T]) -> T:
        """Join or part records of clients; the open visit may then be another's. NotNow during a sweep."""
        self._occupied.refuse("records of clients are joined or parted", by=("sweep",))
        visit_id = self.id

        def changed(store: Store) -> tuple[T, Whose | None]:
            done = change(store)
            return done, None if visit_id is None else whose(store, visit_id)

        done, found = await self._kept_by().call(changed)
        if found is not None and self.id == visit_id:
            self._now_of(found)
            await self._kept_by().stored()
        return done

    def _now_of(self, found: Whose) -> None:
        """The open visit is this client's. An intake that nobody has gone through yet is last time's."""
        before = self.client
        self.client, self.nth, last = found
        if before is not None and before.id == self.client.id:
            return
        if self.begun is None or self.returning:
            self.intake, self.returning = last
            self.begun = self.intake
        self._seat()

    def reopen(self, store: Store, session_id: int) -> None:
        """Resume the visit of a session that was cut off, as far as it was written down."""
        record = visits.visit_of_session(store, session_id)
        if record is None:
            return
        self.id, self.client = record.id, people.client(store, record.client_id)
        self.nth = visits.nth(store, record.id)
        for note in visits.notes(store, record.id):
            if note.kind == "intake":
                self.begun = self.intake = Intake.model_validate(note.content)
            elif note.kind == "begun-intake":
                self.begun = BegunIntake.model_validate(note.content)
            elif note.kind == "measured":
                self.measured = Measured.model_validate(note.content)
            elif note.kind == "override":
                self.reasons[note.content["check"]] = note.content["reason"]
            elif note.kind == "decision":
                self.decision = note.content
            elif note.kind == "sweep":
                self._belongs(note.content["sweep_id"])
        self._seat()

    async def take_intake(self, begun: BegunIntake, *, confirmed: bool = True) -> None:
        """Store today's intake as far as it is typed. NotNow during a sweep: its mass is in use. It counts once it is
        complete; confirmed: whether a returning client's answers were gone through with the client.
        """
        self._occupied.refuse("the intake is changed", by=("sweep",))
        intake = whole(begun) if confirmed else None
        await self.note("begun-intake" if intake is None else "intake", begun.model_dump())
        self.begun = begun
        if intake is not None:
            self.intake, self.returning = intake, ""
            self._seat()
        await self._kept_by().stored()

    async def take_measured(self, changes: Measured) -> None:
        """Store what was measured and set on the jig. changes: only what is said in it changes, so that two screens,
        or two presses in a row, never take each other's number back."""
        async with self._one_measure_at_a_time:
            measured = self.measured.model_copy(
                update={name: getattr(changes, name) for name in changes.model_fields_set}
            )
            await self.note("measured", measured.model_dump())
            self.measured = measured

    async def override(self, check: str, reason: str) -> None:
        """Override a check, with a reason. ValueError for an unknown check or one that is not open."""
        found = next((one for one in self.checks() if one.key == check), None)
        if found is None:
            raise ValueError(f"check: expected one of {', '.join(one.key for one in self.checks())}, got {check}")
        await self.note("override", {"check": check, "reason": reason, "said": found.said, "title": found.title})
        self.reasons[check] = reason

    async def decide(self, content: dict[str, Any]) -> None:
        """Store the fitter's decision."""
        await self.note("decision", content)
        self.decision = content

    async def sweep_begun(self, sweep_id: int | None) -> None:
        """Record that this sweep belongs to the open visit, if there is one."""
        if self.id is not None:
            await self.note("sweep", {"sweep_id": sweep_id})
            self._belongs(sweep_id)

    def _belongs(self, sweep_id: int | None) -> None:
        self.swept = True
        self._sweep_ids += [] if sweep_id is None else [sweep_id]

    def client_id(self) -> int | None:
        """Whose visit it is; None without one."""
        return None if self.client is None else self.client.id

    def saddle(self) -> Saddle | None:
        """The saddle on the client's own bicycle; None before an intake."""
        return None if self.intake is None else self.intake.saddle

    def saddle_tilt_deg(self) -> float | None:
        """As measured on the jig today; None before that."""
        return self.measured.saddle_tilt_deg

    @property
    def ridden_here(self) -> tuple[Ridden, ...]:
        """The open visit's sweeps that have ended, in their order."""
        return tuple(self.ridden[one] for one in self._sweep_ids if one in self.ridden)

    def sweep_ended(self, ridden: Ridden) -> None:
        """Remember the sweep as it was ridden."""
        self.ridden[ridden.sweep_id] = ridden

    async def note(self, kind: str, content: Any) -> None:
        """Add a note to the open visit. NotNow without one."""
        visit_id = self.open_id()
        await self._kept_by().call(lambda store: visits.add_note(store, visit_id, kind, content))

    def open_id(self) -> int:
        """The open visit's id. NotNow without one."""
        if self.id is None:
            raise NotNow("no client is here; choose one on the client screen first", see="client")
        return self.id

    def checks(self) -> tuple[Check, ...]:
        """The checks as they stand now; none without an intake."""
        if self.intake is None:
            return ()
        return prechecks(self.intake, self.measured, self._readings(), self.reasons)

    def in_the_way(self) -> NotNow | None:
        """Why a sweep may not begin; None if it may, or if it is a trial."""
        if self.id is None:
            return None
        if self.returning:
            return NotNow("the intake is not confirmed yet; see the client screen", see="client")
        if self.intake is None or missing(self.begun):
            lacking = " and ".join(missing(self.begun))
            return NotNow(f"not in the intake yet: {lacking}; see the client screen", see="client")
        if flags := flags_in_the_way(self.intake):
            return NotNow(flags, see="client")
        still_open = open_in_the_way(self.checks())
        return NotNow(still_open, see="checks") if still_open else None

    def _seat(self) -> None:
        """The rider of the session is this client."""
        assert self.client is not None
        mass_kg = None if self.intake is None or self.returning else self.intake.mass_kg
        self._sits(Rider(self.client.pseudonym, mass_kg))


def whose(store: Store, visit_id: int) -> Whose:
    """The client of a visit, which visit of theirs it is, and what prefills their form."""
    client_id = visits.visit(store, visit_id).client_id
    return people.client(store, client_id), visits.nth(store, visit_id), last_time(store, client_id)


def last_time(store: Store, client_id: int) -> tuple[Intake | None, str]:
    """What prefills a client's form, and a sentence that says so; None and nothing at the first visit."""
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
