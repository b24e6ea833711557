"""Visits: one client on one day, and everything written down about it, as notes that are only ever added.

A note has a kind and a content; the latest of a kind counts, older ones stay. The name is never part of one.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Any

from daq.keep.errors import NotThere
from daq.keep.json_text import json_text
from daq.keep.store import Store
from daq.keep.store.rows import Row, insert_row, sound_rows
from daq.keep.store.sessions import utc_now


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """One client on one day."""

    id: int
    client_id: int
    session_id: int
    begun_utc: str


@dataclass(frozen=True, slots=True)
class NoteRecord:
    """Something written down."""

    id: int
    visit_id: int
    kind: str
    made_utc: str
    content: Any


def begin_visit(store: Store, client_id: int, session_id: int) -> int:
    """A new visit's id."""
    with store.writing() as db:
        return insert_row(db, "visits", client_id=client_id, session_id=session_id, begun_utc=utc_now())


def add_note(store: Store, visit_id: int, kind: str, content: Any) -> int:
    """Adds a note; durable on return."""
    with store.writing() as db:
        return insert_row(
            db, "visit_notes", visit_id=visit_id, kind=kind, made_utc=utc_now(), content=json_text(content)
        )


def visit(store: Store, visit_id: int) -> VisitRecord:
    """One visit. NotThere when there is none with this id."""
    with store.reading() as db:
        row = next(sound_rows(db, "visits", "id = ?", (visit_id,)), None)
    if row is None:
        raise NotThere(f"no visit {visit_id} in {store.path.name}")
    return _visit(row)


def visits(store: Store, client_id: int | None = None) -> list[VisitRecord]:
    """All visits, or those of one client, oldest first."""
    with store.reading() as db:
        return [_visit(row) for row in sound_rows(db, "visits", "?1 IS NULL OR client_id = ?1", (client_id,))]


def nth(store: Store, visit_id: int) -> int:
    """Which visit of its client this is, counted from 1. NotThere."""
    return [one.id for one in visits(store, visit(store, visit_id).client_id)].index(visit_id) + 1


def notes(store: Store, visit_id: int, kind: str | None = None) -> list[NoteRecord]:
    """The notes of a visit, oldest first; of one kind if given."""
    with store.reading() as db:
        return _notes(db, "visit_id = ?1 AND (?2 IS NULL OR kind = ?2)", (visit_id, kind))


def last_of_client(store: Store, client_id: int, kind: str) -> NoteRecord | None:
    """The latest note of a kind over all visits of a client: what a returning client starts from."""
    with store.reading() as db:
        found = _notes(db, "visit_id IN (SELECT id FROM visits WHERE client_id = ?1) AND kind = ?2", (client_id, kind))
    return found[-1] if found else None


def visit_of_session(store: Store, session_id: int) -> VisitRecord | None:
    """The visit last opened in a session; None when there was none."""
    with store.reading() as db:
        rows = list(sound_rows(db, "visits", "session_id = ?", (session_id,)))
    return _visit(rows[-1]) if rows else None


def _visit(row: Row) -> VisitRecord:
    return VisitRecord(row["id"], row["client_id"], row["session_id"], row["begun_utc"])


def _notes(db: Connection, where: str, values: tuple[Any, ...]) -> list[NoteRecord]:
    return [
        NoteRecord(row["id"], row["visit_id"], row["kind"], row["made_utc"], json.loads(row["content"]))
        for row in sound_rows(db, "visit_notes", where, values)
    ]
