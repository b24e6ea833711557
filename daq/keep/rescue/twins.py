"""Rows that are lost, from their twins."""

from __future__ import annotations

import json

from daq.keep.rescue.found_rows import Found, holds_json
from daq.keep.rescue.sqlite_rows import FoundRow
from daq.keep.store.checksums import is_sound
from daq.keep.store.rows import TWICE, Row


def from_twins(found: Found) -> int:
    """Puts the twin of each lost row among the rows, and takes what is lost once only off the list of the damaged;
    how many rows that were."""
    restored: set[int] = set()
    count = 0
    for twin in found.rows["twins"].values():
        table, number = twin["of"], twin["row_id"]
        if table not in TWICE or number in found.rows[table]:
            continue
        row: Row = json.loads(twin["content"])
        if is_sound(table, row) and holds_json(table, row):
            found.rows[table][number] = row
            restored.add(number)
            count += 1
    found.damaged = [cell for cell in found.damaged if cell.number not in restored and not _of_whole(found, cell)]
    return count


def _of_whole(found: Found, cell: FoundRow) -> bool:
    """Whether it is the damaged twin of a row that is whole."""
    if len(cell.values) < 3:
        return False
    table, number = cell.values[1:3]
    return table in TWICE and number in found.rows[table]
