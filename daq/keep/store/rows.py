"""Rows with a checksum; rows of small tables are written twice. The twin of a row is in a separate table, so on another
page of the file: a damaged row is read from its twin, and a lost table is rebuilt from twins. Scans, notifications and
results have none: there are too many scans, and results can be recomputed.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from daq.keep.errors import StoreDamaged
from daq.keep.json_text import json_text
from daq.keep.store.checksums import CHANGING, is_sound, row_crc, sealed

TWICE = (
    *("calibrations", "clients", "client_names", "consents", "sessions", "sources", "sweeps", "hellos", "events"),
    *("visits", "visit_notes", "benches", "bench_steps", "certificates", "weight_checks", "copies", "client_joins"),
)
"""Tables whose rows have a twin, in an order in which they can be filled."""
_KEYS = {"client_names": "client_id"}

Row = dict[str, Any]


def key_of(table: str) -> str:
    """The column that numbers the rows."""
    return _KEYS.get(table, "id")


def columns_of(db: sqlite3.Connection, table: str) -> list[str]:
    """The columns of a table in this store: an older store opened for reading lacks some, or all."""
    return [row[1] for row in db.execute(f"PRAGMA table_info({table})")]


def insert_row(db: sqlite3.Connection, table: str, **row: Any) -> int:
    """Inserts a row with its checksums, and its twin, and returns its number; id None takes the next one."""
    columns = columns_of(db, table) if table in TWICE else None
    if columns is not None:
        row = {**dict.fromkeys(columns), **row}
    row["crc"] = row_crc(table, row)
    kept = [column for column in row if columns is None or column in columns]
    cursor = db.execute(
        f"INSERT INTO {table}({', '.join(kept)}) VALUES ({', '.join('?' * len(kept))})", [row[one] for one in kept]
    )
    row_id = int(cursor.lastrowid or 0)
    row = {**{column: row[column] for column in kept}, key_of(table): row_id}
    if "now_crc" in row:
        row["now_crc"] = row_crc(table, row, CHANGING)  # it covers the row's number, which is known only now
        db.execute(f"UPDATE {table} SET now_crc = ? WHERE id = ?", (row["now_crc"], row_id))
    _put_twin(db, table, row_id, row)
    return row_id


def update_row(db: sqlite3.Connection, table: str, row_id: int, **changes: Any) -> None:
    """Changes a row, its checksums and its twin."""
    _write(db, table, {**_row(db, table, row_id), **changes})


def _write(db: sqlite3.Connection, table: str, row: Row) -> None:
    row_id = row[key_of(table)]
    row |= {column: crc for column, crc in sealed(table, row).items() if column in row}
    columns = [column for column in row if column != key_of(table)]
    db.execute(
        f"UPDATE {table} SET {', '.join(f'{column} = ?' for column in columns)} WHERE {key_of(table)} = ?",
        (*(row[column] for column in columns), row_id),
    )
    _put_twin(db, table, row_id, row)


def delete_rows(db: sqlite3.Connection, table: str, where: str, values: Iterable[Any] = ()) -> None:
    """Deletes rows and their twins."""
    values = tuple(values)
    if table not in TWICE:
        db.execute(f"DELETE FROM {table} WHERE {where}", values)
        return
    ids = f"SELECT {key_of(table)} FROM {table} WHERE {where}"
    db.execute(f"DELETE FROM twins WHERE of = ? AND row_id IN ({ids})", (table, *values))
    db.execute(f"DELETE FROM {table} WHERE {where}", values)


def delete_stray_twins(db: sqlite3.Connection) -> None:
    """Deletes twins whose row is gone: damage may have separated them, and deleted records must not survive as
    twins."""
    for table in TWICE:
        db.execute(f"DELETE FROM twins WHERE of = ? AND row_id NOT IN (SELECT {key_of(table)} FROM {table})", (table,))


def sound_rows(
    db: sqlite3.Connection,
    table: str,
    where: str = "1",
    values: Iterable[Any] = (),
    *,
    damaged: Callable[[StoreDamaged], None] | None = None,
) -> Iterator[Row]:
    """Rows by number, each as it was written: a damaged one is read from its twin. One without a sound twin raises
    StoreDamaged, or is passed to `damaged` and left out.
    """
    columns = columns_of(db, table)
    found = db.execute(
        f"SELECT {', '.join(columns)} FROM {table} WHERE {where} ORDER BY {key_of(table)}", tuple(values)
    ).fetchall()
    for one in found:
        row: Row | None = dict(zip(columns, one, strict=True))
        assert row is not None
        row_id = row[key_of(table)]
        if not is_sound(table, row):
            row = twin_of(db, table, row_id)
        if row is not None:
            yield row
            continue
        error = StoreDamaged(f"row {row_id} of {table} is damaged; all others can be read", row_id=row_id)
        if damaged is None:
            raise error
        damaged(error)


def twin_of(db: sqlite3.Connection, table: str, row_id: int) -> Row | None:
    """A row as its twin has it; None if there is no twin, or it is damaged too."""
    if not columns_of(db, "twins"):
        return None
    found = db.execute("SELECT content, crc FROM twins WHERE of = ? AND row_id = ?", (table, row_id)).fetchone()
    if found is None or row_crc("twins", {"of": table, "row_id": row_id, "content": found[0]}) != found[1]:
        return None
    row: Row = json.loads(found[0])
    return {**dict.fromkeys(columns_of(db, table)), **row} if is_sound(table, row) else None


def unsound_rows(db: sqlite3.Connection, table: str) -> list[int]:
    """The numbers of rows that are not what was written, regardless of their twins; 0 for a damaged number."""
    columns = columns_of(db, table)
    rows = (dict(zip(columns, one, strict=True)) for one in db.execute(f"SELECT {', '.join(columns)} FROM {table}"))
    numbers = [row.get(key_of(table), row.get("copy_id")) for row in rows if not is_sound(table, row)]
    return [number if isinstance(number, int) else 0 for number in numbers]


def lonely_rows(db: sqlite3.Connection, table: str) -> list[int]:
    """The numbers that only the row or only its twin has; a twin whose number is damaged is among the unsound ones."""
    keys = f"SELECT {key_of(table)} FROM {table}"
    twins = "SELECT row_id FROM twins WHERE of = ?"
    both = f"SELECT * FROM ({keys} EXCEPT {twins}) UNION SELECT * FROM ({twins} EXCEPT {keys})"
    return [row[0] for row in db.execute(both, (table, table)) if isinstance(row[0], int)]


def complete(db: sqlite3.Connection) -> None:
    """Adds checksums and twins to the rows of a store made before there were any; damaged rows stay damaged."""
    for table in TWICE:
        columns = columns_of(db, table)
        for values in db.execute(f"SELECT {', '.join(columns)} FROM {table}").fetchall():
            row = dict(zip(columns, values, strict=True))
            summed = {name: value for name, value in row.items() if value is not None or "crc" not in name}
            if is_sound(table, summed):
                _write(db, table, row)
    for copy_id, sweep_id in db.execute("SELECT copy_id, sweep_id FROM copied_sweeps").fetchall():
        crc = row_crc("copied_sweeps", {"copy_id": copy_id, "sweep_id": sweep_id})
        db.execute("UPDATE copied_sweeps SET crc = ? WHERE copy_id = ? AND sweep_id = ?", (crc, copy_id, sweep_id))


def _row(db: sqlite3.Connection, table: str, row_id: int) -> Row:
    (row,) = sound_rows(db, table, f"{key_of(table)} = ?", (row_id,))
    return row


def _put_twin(db: sqlite3.Connection, table: str, row_id: int, row: Row) -> None:
    if table not in TWICE or not columns_of(db, "twins"):
        return
    content = json_text(row)
    crc = row_crc("twins", {"of": table, "row_id": row_id, "content": content})
    db.execute("DELETE FROM twins WHERE of = ? AND row_id = ?", (table, row_id))
    db.execute("INSERT INTO twins(of, row_id, content, crc) VALUES (?, ?, ?, ?)", (table, row_id, content, crc))
