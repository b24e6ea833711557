"""What losing a table means: the file no longer lists it, and some of its rows were found anyway."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from daq.items import BOARD
from daq.keep.store.rows import TWICE
from daq.sweep.run import State
from daq.words import counted

AGAIN = "; foreaft onset SWEEP computes an answer again"


@dataclass(frozen=True, slots=True)
class Missing:
    """Sentences on missing tables."""

    told: list[str] = field(default_factory=list)
    """Where all of it came back, or there was nothing in it."""
    problems: list[str] = field(default_factory=list)
    lost: set[str] = field(default_factory=set)
    """The tables the problems are of."""


def missing_tables(db: sqlite3.Connection, tables: Sequence[str], freed: Collection[str]) -> Missing:
    """What is to be said of each of these tables, now that all rows found are in the new store.

    freed: those of which pages may be used again.
    """
    said = Missing()
    for table in tables:
        (rows,) = db.execute(f"SELECT count(*) FROM {table}").fetchone()
        gone = f"the table '{table}' is missing from the file"
        if table == "twins":
            said.told.append(f"{gone}: rows are written twice again, but one that is damaged there is lost")
        elif rows and table not in freed and (table not in TWICE or "twins" not in tables):
            twins = "their twins, or from " if table in TWICE else ""
            said.told.append(f"{gone}: {counted(rows, 'row')} read from {twins}its pages")
        elif problem := _problem(db, table, rows, tables):
            said.problems.append(f"{gone}{problem}")
            said.lost.add(table)
    return said


def missing_answers(db: sqlite3.Connection) -> list[str]:
    """Sweeps that looked for an onset, have ended and have no stored answer; of the last ones no number is left that
    would tell."""
    without = "NOT EXISTS (SELECT 1 FROM results WHERE sweep_id = sweeps.id AND kind = 'onset')"
    rows = db.execute(f"SELECT id, plan FROM sweeps WHERE state != ? AND {without} ORDER BY id", (str(State.WAITING),))
    numbers = [number for number, plan in rows if json.loads(plan).get("purpose", "onset") == "onset"]
    if not numbers:
        return []
    named = f"{'sweep' if len(numbers) == 1 else 'sweeps'} {', '.join(map(str, numbers))}"
    return [f"{named}: the stored answer is lost, if there was one{AGAIN}"]


def _problem(db: sqlite3.Connection, table: str, rows: int, tables: Sequence[str]) -> str:
    """What its loss means; empty if there was nothing in it, or if something else says it."""
    if rows and table != "copied_sweeps":
        return (
            f": {counted(rows, 'row')} found on its pages; there may have been more, gaps between them are told below"
        )
    if table in _LOST and db.execute(_LOST[table][0]).fetchone()[0]:
        return f", and nothing is left of it: {_LOST[table][1]}"
    if table in TWICE and "twins" in tables:
        return ", and so are its twins: whatever was in it is lost; a backup may have it"
    return ""


_LOST = {
    "chunks": (
        "SELECT EXISTS (SELECT 1 FROM sweeps)",
        "the scans of all sweeps are lost; their stored answers are kept, and a backup or an export may have the scans",
    ),
    "notifications": (
        f"SELECT EXISTS (SELECT 1 FROM sources WHERE name != '{BOARD}')",
        "what sensors sent in all sessions is lost; stored answers are kept, and a backup or an export may have it",
    ),
    "results": (
        "SELECT EXISTS (SELECT 1 FROM sweeps WHERE state IS NOT NULL)",
        "the stored answers of all sweeps are lost" + AGAIN,
    ),
}
"""By table: whether there was something in it, and what its loss means."""
