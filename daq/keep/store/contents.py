"""Whether what a store holds as JSON is JSON that this program writes.

A checksum agrees with whatever was written, also by somebody else. Texts nested a thousand levels deep, or numbers
that are none, would stop a later command in its midst.
"""

from __future__ import annotations

from collections.abc import Iterator
from sqlite3 import Connection

from daq.keep.bounded import from_json

JSON_COLUMNS = {
    "calibrations": ("content",),
    "hellos": ("content",),
    "events": ("content",),
    "sweeps": ("plan", "rider"),
    "results": ("content",),
    "visit_notes": ("content",),
    "benches": ("setup",),
    "bench_steps": ("content",),
    "certificates": ("content",),
    "weight_checks": ("content",),
    "twins": ("content",),
}


def unreadable(db: Connection) -> Iterator[str]:
    """A sentence for every row whose JSON cannot be read within bounds."""
    for table, columns in JSON_COLUMNS.items():
        for column in columns:
            for row_id, text in db.execute(f"SELECT id, {column} FROM {table} ORDER BY id"):
                try:
                    from_json(text)
                except ValueError as error:
                    yield f"row {row_id} of {table}: {column}: {error}"
