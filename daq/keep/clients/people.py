"""Clients: a pseudonym in every record, the name in a separate table, and what they agreed to. Consents are appended;
the latest of a kind counts. Only the pseudonym is ever logged or exported.
"""

from __future__ import annotations

import dataclasses
import datetime
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Literal, get_args

from daq.keep.clients.joins import leads_to, part_of, standing
from daq.keep.errors import NotThere, StoreDamaged
from daq.keep.store import Store
from daq.keep.store.rows import Row, insert_row, sound_rows, update_row
from daq.keep.store.sessions import utc_now

Consent = Literal["service", "research", "images"]
"""The fitting itself and its records; use of pseudonymous records in studies; pictures and video."""


@dataclass(frozen=True, slots=True)
class Said:
    """One consent as it was given or withdrawn."""

    kind: str
    given: bool
    at_utc: str


_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without 0 1 I L O U, so that it can be read aloud and written down without mistakes."""


def today() -> datetime.date:
    """The workshop's day: visits, re-checks and ends of consent are dated by its calendar, not by UTC."""
    return datetime.datetime.now().astimezone().date()


@dataclass(frozen=True, slots=True)
class Client:
    """A rider, as the records have it."""

    id: int
    pseudonym: str
    since_utc: str
    keep_until: str | None
    """ISO date after which the records are due to be forgotten; None: no date agreed."""


def add_client(store: Store, *, name: str | None = None, keep_until: datetime.date | None = None) -> Client:
    """A new client under a random pseudonym."""
    with store.writing() as db:
        client_id = insert_row(
            db,
            "clients",
            pseudonym=_free_pseudonym(db),
            since_utc=utc_now(),
            keep_until=keep_until.isoformat() if keep_until else None,
        )
        if name is not None:
            insert_row(db, "client_names", client_id=client_id, name=name)
    return client(store, client_id)


def client(store: Store, client_id: int) -> Client:
    """One client. NotThere when there is none with this id."""
    return _one_client(store, "id", client_id)


def client_called(store: Store, pseudonym: str) -> Client:
    """The client with this pseudonym, or the one it was joined with. NotThere when there is none."""
    found = exactly(store, pseudonym)
    with store.reading() as db:
        kept_id = leads_to(db, found.id)
    return found if kept_id == found.id else client(store, kept_id)


def exactly(store: Store, pseudonym: str) -> Client:
    """The record with this pseudonym, even if it was joined with another. NotThere when there is none."""
    return _one_client(store, "pseudonym", pseudonym.strip().upper())


def clients(store: Store, damaged: Callable[[StoreDamaged], None] | None = None) -> list[Client]:
    """All clients, oldest first, without the records joined with another's. A damaged one raises StoreDamaged, or is
    handed to `damaged` and left out."""
    with store.reading() as db:
        joined = standing(db)
        return [_client(row) for row in sound_rows(db, "clients", damaged=damaged) if row["id"] not in joined]


def records_of(store: Store, client_id: int) -> list[Client]:
    """The client's own record, and those joined with it, the latest first."""
    with store.reading() as db:
        joined = part_of(db, client_id)
    return [client(store, one) for one in (client_id, *(each.other_id for each in joined))]


def is_overdue(one: Client, today: datetime.date) -> bool:
    """Whether a client's records are past their date."""
    return one.keep_until is not None and one.keep_until < today.isoformat()


def name_of(store: Store, client_id: int) -> str | None:
    """The client's name; None when none was given."""
    return next(iter(names_of(store, client_id)), None)


def names_of(store: Store, client_id: int) -> list[str]:
    """The client's name, and those under which records joined with it were entered."""
    with store.reading() as db:
        ids = [client_id, *(one.other_id for one in part_of(db, client_id))]
        rows = [next(sound_rows(db, "client_names", "client_id = ?", (one,)), None) for one in ids]
    return [str(row["name"]) for row in rows if row is not None]


def set_keep_until(store: Store, client_id: int, date: datetime.date | None) -> None:
    """Stores until when the client's records are kept; None: no date."""
    client(store, client_id)
    with store.writing() as db:
        update_row(db, "clients", client_id, keep_until=None if date is None else date.isoformat())


def set_consent(store: Store, client_id: int, kind: Consent, given: bool) -> None:
    """Stores what the client now says about one kind of use."""
    if kind not in get_args(Consent):
        raise ValueError(f"consent kind: expected one of {', '.join(get_args(Consent))}, got {kind!r}")
    client(store, client_id)
    with store.writing() as db:
        insert_row(db, "consents", client_id=client_id, kind=kind, given=int(given), at_utc=utc_now())


def said(store: Store, client_id: int) -> list[Said]:
    """All consents and withdrawals, oldest first; damaged ones are left out."""
    with store.reading() as db:
        rows = sound_rows(db, "consents", "client_id = ?", (client_id,), damaged=lambda _: None)
        return [Said(row["kind"], bool(row["given"]), row["at_utc"]) for row in rows]


def consents(store: Store, client_id: int) -> dict[Consent, bool]:
    """Whether the client agrees, for every kind; anything never asked, or unreadable, counts as not agreed."""
    with store.reading() as db:
        unknown: list[StoreDamaged] = []
        rows = list(sound_rows(db, "consents", "client_id = ?", (client_id,), damaged=unknown.append))
        said = {row["kind"]: row["given"] for row in rows}
    return {kind: bool(said.get(kind, 0)) and not unknown for kind in get_args(Consent)}


def _one_client(store: Store, column: str, value: int | str) -> Client:
    with store.reading() as db:
        row = next(sound_rows(db, "clients", f"{column} = ?", (value,)), None)
    if row is None:
        raise NotThere(f"no client {value} in {store.path.name}")
    return _client(row)


def _client(row: Row) -> Client:
    return Client(**{field.name: row[field.name] for field in dataclasses.fields(Client)})


def _free_pseudonym(db: Connection) -> str:
    while True:
        pseudonym = "R-" + "".join(secrets.choice(_LETTERS) for _ in range(6))
        if not db.execute("SELECT 1 FROM clients WHERE pseudonym = ?", (pseudonym,)).fetchone():
            return pseudonym
