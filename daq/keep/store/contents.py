"""Whether the JSON in a store is JSON that this program writes. A checksum matches whatever was written, even by
somebody else. Texts nested a thousand levels deep, or invalid numbers, would stop a later command half-way.
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
    "client_joins": ("content",),
    "twins": ("content",),
}


def unreadable(db: Connection) -> Iterator[str]:
    """A sentence for every row whose JSON cannot be read within limits."""
    for table, columns in JSON_COLUMNS.items():
        for column in columns:
            for row_id, text in db.execute(f"SELECT id, {column} FROM {table} ORDER BY id"):
                try:
                    from_json(text)
                except ValueError as error:
                    yield f"row {row_id} of {table}: {column}: {error}"
