"""Two records of one client become one: somebody was entered twice. Visits, sweeps and lists of copies go over to the
record that is kept; of consents and dates the stricter holds. What was received is not touched, and nothing is deleted:
the note of the join says which rows went over, so the records can be parted again.
"""

from __future__ import annotations

from dataclasses import dataclass
from sqlite3 import Connection

from daq.keep.clients import people
from daq.keep.clients.copies import Copy, exports_of
from daq.keep.clients.joins import Join, add_join, standing
from daq.keep.clients.people import Client, Consent
from daq.keep.store import Store
from daq.keep.store.rows import insert_row, sound_rows, update_row
from daq.keep.store.sessions import utc_now

_OWNED = ("visits", "sweeps", "sessions", "copies")


@dataclass(frozen=True, slots=True)
class Joining:
    """What joining two records changes."""

    kept: Client
    """As it will be: known since the earlier day, kept until the earlier date."""
    other: Client
    visits: int
    sweeps: int
    disputed: tuple[Consent, ...]
    """Agreed to under one of the two only: not agreed to from now on."""
    exports: tuple[Copy, ...]
    """Exports with sweeps of the other: they call the rider by the other's pseudonym."""


@dataclass(frozen=True, slots=True)
class Parted:
    """What went back to a record that is listed again."""

    kept: Client
    other: Client
    visits: int
    sweeps: int


def joining(store: Store, kept: str, other: str) -> Joining:
    """What joining `other` with `kept` would change, by pseudonym. NotThere; ValueError if they cannot be joined."""
    into, gone = people.client_called(store, kept), people.client_called(store, other)
    for asked, found in ((kept, into), (other, gone)):
        if found.pseudonym != asked.strip().upper():
            raise ValueError(f"{asked.strip().upper()} is joined with {found.pseudonym}: name that one")
    if into.id == gone.id:
        raise ValueError(f"{into.pseudonym} cannot be joined with itself: name two clients")
    said = [people.consents(store, one.id) for one in (into, gone)]
    dates = [one.keep_until for one in (into, gone) if one.keep_until]
    with store.reading() as db:
        owned = {table: len(_rows_of(db, table, gone.id)) for table in ("visits", "sweeps")}
    return Joining(
        Client(into.id, into.pseudonym, min(into.since_utc, gone.since_utc), min(dates, default=None)),
        gone,
        owned["visits"],
        owned["sweeps"],
        tuple(kind for kind in said[0] if said[0][kind] != said[1][kind]),
        tuple(exports_of(store, gone)),
    )


def join(store: Store, kept: str, other: str) -> Joining:
    """Joins them. NotThere, ValueError; StoreDamaged, with nothing changed, if a row that goes over cannot be read."""
    found = joining(store, kept, other)
    into, gone = found.kept, found.other
    before = people.client(store, into.id)
    agreed = people.consents(store, into.id)
    with store.writing() as db:
        moved = {table: _hand_on(db, table, _rows_of(db, table, gone.id), into.id) for table in _OWNED}
        withdrawn = [
            insert_row(db, "consents", client_id=into.id, kind=kind, given=0, at_utc=utc_now())
            for kind in found.disputed
            if agreed[kind]
        ]
        was = {"since_utc": before.since_utc, "keep_until": before.keep_until}
        update_row(db, "clients", into.id, since_utc=into.since_utc, keep_until=into.keep_until)
        content = {**moved, "withdrawn": withdrawn, "was": was, "keep_until": into.keep_until}
        add_join(db, "joined", into.id, gone.id, content)
    return found


def part(store: Store, other: str) -> Parted:
    """Undoes a join: what went over goes back, except what was handed on or forgotten since; what was ridden or noted
    since stays. The kept record's consents and date are as before, unless they were changed since. NotThere; ValueError
    if `other` is not joined, or what it was joined with has itself been joined since.
    """
    known = people.exactly(store, other)
    with store.reading() as db:
        joins = standing(db)
    done = joins.get(known.id)
    if done is None:
        raise ValueError(f"{known.pseudonym} is not joined with another client")
    kept = people.client(store, done.kept_id)
    if kept.id in joins:
        raise ValueError(f"{kept.pseudonym} has been joined with another client since: part {kept.pseudonym} first")
    with store.writing() as db:
        back = {
            table: _hand_on(db, table, _still(db, table, done.content[table], kept.id), known.id) for table in _OWNED
        }
        _as_before(db, kept, done)
        add_join(db, "parted", kept.id, known.id, back)
    return Parted(people.client(store, kept.id), known, len(back["visits"]), len(back["sweeps"]))


def _rows_of(db: Connection, table: str, client_id: int) -> list[int]:
    return [row[0] for row in db.execute(f"SELECT id FROM {table} WHERE client_id = ? ORDER BY id", (client_id,))]


def _still(db: Connection, table: str, row_ids: list[int], client_id: int) -> list[int]:
    """Those of the rows that belong to this client."""
    wanted = set(row_ids)
    return [one for one in _rows_of(db, table, client_id) if one in wanted]


def _hand_on(db: Connection, table: str, row_ids: list[int], to_id: int) -> list[int]:
    for row_id in row_ids:
        update_row(db, table, row_id, client_id=to_id)
    return row_ids


def _as_before(db: Connection, kept: Client, done: Join) -> None:
    """Dates and consents of the record that is kept, where nothing was said since."""
    was = done.content["was"]
    until = was["keep_until"] if kept.keep_until == done.content["keep_until"] else kept.keep_until
    update_row(db, "clients", kept.id, since_utc=was["since_utc"], keep_until=until)
    last = {row["kind"]: row["id"] for row in sound_rows(db, "consents", "client_id = ?", (kept.id,))}
    for kind, row_id in last.items():
        if row_id in done.content["withdrawn"]:
            insert_row(db, "consents", client_id=kept.id, kind=kind, given=1, at_utc=utc_now())
