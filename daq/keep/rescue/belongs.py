"""Which table a row belongs to that was found somewhere in a file: its checksum and the types of its columns tell,
whatever became of the tables."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Mapping

from daq.keep.bounded import from_json
from daq.keep.rescue.sqlite_rows import FoundRow
from daq.keep.store.checksums import COVERED, is_sound
from daq.keep.store.contents import JSON_COLUMNS
from daq.keep.store.migrations import STEPS
from daq.keep.store.rows import Row, key_of

_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d|unknown$")
_TYPES: Mapping[str, type] = {"INTEGER": int, "TEXT": str, "BLOB": bytes, "REAL": float}
_LOOKS: Mapping[str, Callable[[Row], bool]] = {
    "clients": lambda row: re.match(r"R-[0-9A-Z]{6}$", row["pseudonym"]) is not None,
    "consents": lambda row: row["kind"] in ("service", "research", "images") and row["given"] in (0, 1),
    "client_joins": lambda row: row["kind"] in ("joined", "parted"),
    "copies": lambda row: row["kind"] in ("backup", "export"),
    "weight_checks": lambda row: '"shown_n":' in row["content"],
    "benches": lambda row: '"shown_n":' not in row["setup"],
}
"""What rows of a table look like, where their types do not tell them from those of another."""
Columns = list[tuple[str, type, bool]]
"""Name, type, and whether it is never missing, of each column of a table."""


def columns_by_table() -> dict[str, Columns]:
    """The columns of each table, in order, as the newest schema has them."""
    db = sqlite3.connect(":memory:")
    try:
        for _, sql in STEPS:
            db.executescript(sql)
        return {
            table: [(row[1], _TYPES[row[2]], bool(row[3])) for row in db.execute(f"PRAGMA table_info({table})")]
            for table in COVERED
            if table != "copied_sweeps"  # no table of rows, but an index
        }
    finally:
        db.close()


def as_row(table: str, columns: Columns, cell: FoundRow) -> Row | None:
    """The cell as a sound row of this table; None when it is none."""
    if not 2 <= len(cell.values) <= len(columns):
        return None
    values = (*cell.values, *[None] * (len(columns) - len(cell.values)))
    row: Row = {}
    for (name, kind, needed), value in zip(columns, values, strict=True):
        if name == key_of(table):
            if value is not None:
                return None
            value = cell.number
        elif kind is float and isinstance(value, int):
            value = float(value)  # SQLite keeps a whole number as one
        if not _fits(value, name, kind, needed):
            return None
        row[name] = value
    added = list(row)[len(cell.values) :]
    for column in {"crc", "now_crc"} & set(added):
        del row[column]
    if not holds_json(table, row):
        return None
    looks = _LOOKS.get(table)
    return row if is_sound(table, row) and (looks is None or looks(row)) else None


def _fits(value: object, name: str, kind: type, needed: bool) -> bool:
    """Whether a column could hold this value."""
    if not isinstance(value, kind):
        return value is None and not needed
    return not (name.endswith("_utc") and isinstance(value, str) and not _UTC.match(value))


def holds_json(table: str, row: Row) -> bool:
    """Whether what should be JSON in a row is JSON, within bounds."""
    return all(_is_json(row[name]) for name in JSON_COLUMNS.get(table, ()))


def _is_json(text: str) -> bool:
    try:
        from_json(text)
    except ValueError:
        return False
    return True
