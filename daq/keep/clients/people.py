"""Clients: a pseudonym in every record, the name in a table of its own, and what they agreed to.

Consents are appended; the latest of a kind counts. Nothing here is ever logged or exported but the pseudonym.
"""

from __future__ import annotations

import datetime
import secrets
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Literal, get_args

from daq.keep.errors import NotThere
from daq.keep.store import Store
from daq.keep.store.sessions import utc_now

Consent = Literal["service", "research", "images"]
"""The fitting itself and its records; use of pseudonymous records in studies; pictures and video."""

_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Without 0 1 I L O U: read aloud and written down without mistakes."""


@dataclass(frozen=True, slots=True)
class Client:
    """A rider as the records know them."""

    id: int
    pseudonym: str
    since_utc: str
    keep_until: str | None
    """ISO date after which the records are due to be forgotten; None: no date agreed."""


def add_client(store: Store, *, name: str | None = None, keep_until: datetime.date | None = None) -> Client:
    """A new client under a random pseudonym."""
    with store.writing() as db:
        client_id = db.execute(
            "INSERT INTO clients(pseudonym, since_utc, keep_until) VALUES (?, ?, ?)",
            (_free_pseudonym(db), utc_now(), keep_until.isoformat() if keep_until else None),
        ).lastrowid
        if name is not None:
            db.execute("INSERT INTO client_names(client_id, name) VALUES (?, ?)", (client_id, name))
    return client(store, int(client_id or 0))


def client(store: Store, client_id: int) -> Client:
    """One client. NotThere when there is none with this id."""
    return _one_client(store, "id", client_id)


def client_called(store: Store, pseudonym: str) -> Client:
    """The client with this pseudonym. NotThere when there is none."""
    return _one_client(store, "pseudonym", pseudonym.strip().upper())


def clients(store: Store) -> list[Client]:
    """All clients, oldest first."""
    with store.reading() as db:
        return [Client(*row) for row in db.execute(f"{_SELECT} ORDER BY id")]


def overdue(store: Store, today: datetime.date) -> list[Client]:
    """Clients whose records are past their date."""
    return [one for one in clients(store) if one.keep_until is not None and one.keep_until < today.isoformat()]


def name_of(store: Store, client_id: int) -> str | None:
    """The client's name; None when none was given."""
    with store.reading() as db:
        row = db.execute("SELECT name FROM client_names WHERE client_id = ?", (client_id,)).fetchone()
    return None if row is None else str(row[0])


def set_keep_until(store: Store, client_id: int, date: datetime.date | None) -> None:
    """Notes until when the client's records are kept; None: no date."""
    client(store, client_id)
    with store.writing() as db:
        db.execute(
            "UPDATE clients SET keep_until = ? WHERE id = ?", (None if date is None else date.isoformat(), client_id)
        )


def set_consent(store: Store, client_id: int, kind: Consent, given: bool) -> None:
    """Notes what the client said now about one kind of use."""
    if kind not in get_args(Consent):
        raise ValueError(f"consent kind: expected one of {', '.join(get_args(Consent))}, got {kind!r}")
    client(store, client_id)
    with store.writing() as db:
        db.execute(
            "INSERT INTO consents(client_id, kind, given, at_utc) VALUES (?, ?, ?, ?)",
            (client_id, kind, int(given), utc_now()),
        )


def consents(store: Store, client_id: int) -> dict[Consent, bool]:
    """What the client agreed to last, of every kind; what was never asked is not agreed to."""
    with store.reading() as db:
        said = dict(db.execute("SELECT kind, given FROM consents WHERE client_id = ? ORDER BY id", (client_id,)))
    return {kind: bool(said.get(kind, 0)) for kind in get_args(Consent)}


_SELECT = "SELECT id, pseudonym, since_utc, keep_until FROM clients"


def _one_client(store: Store, column: str, value: int | str) -> Client:
    with store.reading() as db:
        row = db.execute(f"{_SELECT} WHERE {column} = ?", (value,)).fetchone()
    if row is None:
        raise NotThere(f"no client {value} in {store.path.name}")
    return Client(*row)


def _free_pseudonym(db: Connection) -> str:
    while True:
        pseudonym = "R-" + "".join(secrets.choice(_LETTERS) for _ in range(6))
        if not db.execute("SELECT 1 FROM clients WHERE pseudonym = ?", (pseudonym,)).fetchone():
            return pseudonym
