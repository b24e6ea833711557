"""Whether a store's tables are those this program makes, and nothing besides.

A store may come from elsewhere. SQLite runs what stands in a file's schema: a trigger swallows what is written, a view
or a virtual table in a table's place answers what it likes, and neither an integrity check nor a checksum sees it. What
is done here follows SQLite's own advice for files that are not trusted (sqlite.org/security.html).
"""

from __future__ import annotations

import re
import sqlite3
from functools import cache
from pathlib import Path

from daq.keep.errors import StoreDamaged
from daq.keep.store.migrations import STEPS, statements

LONGEST_VALUE = 128 * 2**20
"""Bytes of one text or blob; of a packed chunk there are never as many."""
_BY_SQLITE = "sqlite_"
"""What SQLite makes by itself begins so: indexes behind UNIQUE, statistics."""
_OF_STEPS = (("table", "_sqlite_migrations"), ("index", "idx__sqlite_migrations_migration_set_name"))
"""Where sqlite-utils keeps which steps were taken; its columns differ between its versions."""
_COMPUTED = re.compile(r"\b(?:AS|CHECK|DEFAULT|GENERATED|WHERE)\b", re.IGNORECASE)

Schema = dict[tuple[str, str], str]
"""SQL by (type, name), its white space evened out."""


def distrust(db: sqlite3.Connection) -> None:
    """Sets a connection for a file that may come from anywhere. Before anything is read from it."""
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    db.execute("PRAGMA trusted_schema = OFF")
    db.execute("PRAGMA cell_size_check = ON")
    db.execute("PRAGMA mmap_size = 0")


def check_schema(db: sqlite3.Connection, path: Path, version: int) -> None:
    """StoreDamaged, naming it, when something in the schema is not as the steps up to this version make it.

    version: the schema's number; 0 is a new file, without any.
    """
    found, expected = schema_of(db), _expected(version)
    for kind, name in sorted(found.keys() - expected.keys()):
        raise StoreDamaged(
            f"{path} holds a {kind} '{name}', which this program does not make: nothing is read from it; foreaft "
            "salvage brings the records into a new store"
        )
    for kind, name in sorted(expected.keys() - found.keys()):
        raise StoreDamaged(f"{path}: the {kind} '{name}' is missing: restore a backup or foreaft salvage it")
    for (kind, name), sql in expected.items():
        if found[kind, name] != sql:
            raise StoreDamaged(
                f"{path}: the {kind} '{name}' is not as this program makes it: foreaft salvage brings the records "
                "into a new store"
            )


def is_plain_table(db: sqlite3.Connection, table: str) -> bool:
    """Whether reading its rows runs nothing that stands in the file: no view, virtual table or computed column."""
    row = db.execute("SELECT sql FROM sqlite_schema WHERE type = 'table' AND name = ?", (table,)).fetchone()
    sql = "" if row is None else " ".join(str(row[0]).split()).upper()
    return sql.startswith("CREATE TABLE") and not re.search(r"\bAS\b|\bGENERATED\b", sql)


def schema_of(db: sqlite3.Connection) -> Schema:
    """All that a schema holds besides what SQLite makes by itself."""
    return {
        (kind, name): " ".join((sql or "").split())
        for kind, name, sql in db.execute("SELECT type, name, sql FROM sqlite_schema")
        if not (name.startswith(_BY_SQLITE) and kind in ("table", "index"))
        and not ((kind, name) in _OF_STEPS and not _COMPUTED.search(sql or ""))
    }


@cache
def _expected(version: int) -> Schema:
    db = sqlite3.connect(":memory:")
    try:
        for _, sql in STEPS[:version]:
            for statement in statements(sql):
                db.execute(statement)
        return schema_of(db)
    finally:
        db.close()
