"""Rows that are lost, from their twins."""

from __future__ import annotations

import json
from collections import Counter, defaultdict

from daq.keep.rescue.belongs import holds_json
from daq.keep.rescue.found_rows import Found
from daq.keep.rescue.sqlite_rows import FoundRow
from daq.keep.store.checksums import is_sound
from daq.keep.store.rows import TWICE, Row


def from_twins(found: Found) -> int:
    """Puts the twin of each lost row among the rows, and takes what is lost once only off the list of the damaged;
    how many rows that were."""
    _drop_misnumbered(found)
    restored: Counter[tuple[int, int]] = Counter()  # by number and width: rows of two tables may have one number
    for twin in found.rows["twins"].values():
        table, number = twin["of"], twin["row_id"]
        if table not in TWICE or number in found.rows[table]:
            continue
        row: Row = json.loads(twin["content"])
        if is_sound(table, row) and holds_json(table, row):
            found.rows[table][number] = row
            restored[number, len(row)] += 1
    found.damaged = [
        cell for cell in found.damaged if (cell.number, len(cell.values)) not in restored and not _of_whole(found, cell)
    ]
    return restored.total()


def _drop_misnumbered(found: Found) -> None:
    """Takes out the rows whose own number is damaged, which their checksum does not cover: under it there is no twin of
    theirs, but under another, where the row is not."""
    numbers: dict[tuple[str, int], set[int]] = defaultdict(set)
    for twin in found.rows["twins"].values():
        numbers[twin["of"], json.loads(twin["content"]).get("crc")].add(twin["row_id"])
    for table in TWICE:
        rows = found.rows[table]
        for number, row in list(rows.items()):
            own = numbers.get((table, row.get("crc", 0)), set())
            if number not in own and any(one not in rows or rows[one].get("crc") != row["crc"] for one in own):
                del rows[number]


def _of_whole(found: Found, cell: FoundRow) -> bool:
    """Whether it is the damaged twin of a row that is whole."""
    if len(cell.values) < 3:
        return False
    table, number = cell.values[1:3]
    return table in TWICE and number in found.rows[table]
