"""Which records of clients are joined with which: the latest word on a record counts."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Any, Literal

from daq.keep.json_text import json_text
from daq.keep.store.rows import columns_of, insert_row, sound_rows
from daq.keep.store.sessions import utc_now


@dataclass(frozen=True, slots=True)
class Join:
    """A record of a client that is another's now."""

    kept_id: int
    other_id: int
    """The joined record: it is no longer listed, its pseudonym leads to the one kept."""
    content: dict[str, Any]
    """What went over, so that it can be parted again."""


def add_join(
    db: Connection, kind: Literal["joined", "parted"], kept_id: int, other_id: int, content: dict[str, Any]
) -> None:
    """Notes that two records were joined, or parted."""
    insert_row(
        db,
        "client_joins",
        kind=kind,
        kept_id=kept_id,
        other_id=other_id,
        at_utc=utc_now(),
        content=json_text(content),
    )


def standing(db: Connection) -> dict[int, Join]:
    """The joined records by their number, as they stand now; an older store has none. Damaged notes are left out,
    and what without them would lead in a circle."""
    if not columns_of(db, "client_joins"):
        return {}
    found: dict[int, Join] = {}
    for row in sound_rows(db, "client_joins", damaged=lambda _: None):
        found.pop(row["other_id"], None)
        if row["kind"] == "joined" and _end(found, row["kept_id"]) != row["other_id"]:
            found[row["other_id"]] = Join(row["kept_id"], row["other_id"], json.loads(row["content"]))
    return found


def leads_to(db: Connection, client_id: int) -> int:
    """The record that this one is part of: itself, unless it was joined with another, however often."""
    return _end(standing(db), client_id)


def _end(joins: dict[int, Join], client_id: int) -> int:
    while client_id in joins:
        client_id = joins[client_id].kept_id
    return client_id


def part_of(db: Connection, client_id: int) -> list[Join]:
    """The records that were joined with this one, and those joined with them before, the latest first."""
    return list(_within(standing(db).values(), client_id))[::-1]


def _within(joins: Iterable[Join], client_id: int) -> Iterable[Join]:
    joins = list(joins)
    for one in joins:
        if one.kept_id == client_id:
            yield from _within(joins, one.other_id)
            yield one
