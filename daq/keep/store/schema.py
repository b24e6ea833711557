"""Whether a store has exactly the tables this program makes. A store may come from elsewhere. SQLite runs whatever a
file's schema contains: a trigger can swallow writes, a view or a virtual table in place of a table can return anything,
and neither an integrity check nor a checksum notices. The measures here follow SQLite's advice for untrusted files
(sqlite.org/security.html).
"""

from __future__ import annotations

import re
import sqlite3
from functools import cache
from pathlib import Path

from daq.keep.errors import StoreDamaged
from daq.keep.store.migrations import STEPS, statements

LONGEST_VALUE = 128 * 2**20
"""The most bytes of one text or blob; a packed chunk is always smaller."""
_BY_SQLITE = ("sqlite_autoindex_", "sqlite_stat", "sqlite_sequence")
"""How the names of what SQLite creates by itself begin: indexes behind UNIQUE, which have no SQL, and statistics."""
_OF_STEPS = (("table", "_sqlite_migrations"), ("index", "idx__sqlite_migrations_migration_set_name"))
"""Where sqlite-utils records the migrations applied; its columns differ between versions."""
_COMPUTED = re.compile(r"\b(?:AS|CHECK|DEFAULT|GENERATED|WHERE)\b", re.IGNORECASE)

Schema = dict[tuple[str, str], str]
"""SQL by (type, name), with white space normalized."""


def connected(target: str, timeout_s: float) -> sqlite3.Connection:
    """A connection to a file that may come from anywhere: a path, or a URI that begins with file:."""
    db = sqlite3.connect(target, uri=target.startswith("file:"), timeout=timeout_s, check_same_thread=False)
    distrust(db)
    return db


def distrust(db: sqlite3.Connection) -> None:
    """Prepares a connection before anything is read from its file."""
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    db.execute("PRAGMA trusted_schema = OFF")
    db.execute("PRAGMA cell_size_check = ON")
    db.execute("PRAGMA mmap_size = 0")


def check_schema(db: sqlite3.Connection, path: Path, version: int) -> None:
    """Raises StoreDamaged, which names the item, if something in the schema is not as the migrations up to this version
    make it.

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


def schema_of(db: sqlite3.Connection) -> Schema:
    """Everything in a schema besides what SQLite creates by itself."""
    rows = db.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_schema")
    return {
        (kind, name): " ".join(sql.split())
        for kind, name, sql in (map(str, row) for row in rows)  # a flipped bit makes bytes or a number of a text
        if not (name.startswith(_BY_SQLITE) and (kind == "table" or (kind == "index" and not sql)))
        and not ((kind, name) in _OF_STEPS and not _COMPUTED.search(sql))
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
