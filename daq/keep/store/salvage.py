"""Brings what is still readable of a damaged store into a new one.

Row by row, so that a lost page costs the rows on it and no more. Raw counts are taken only where their CRC agrees.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.keep.errors import StoreDamaged, StoreError
from daq.keep.store.checksums import COVERED, insert_row, row_crc
from daq.keep.store.chunks import BadChunk, decode
from daq.keep.store.migrations import check_version
from daq.keep.store.schema import distrust, is_plain_table
from daq.keep.store.sessions import keep_calibration
from daq.keep.store.store import Store
from daq.keep.store.writing import insert_chunk

_COPIED = (
    *("calibrations", "clients", "client_names", "consents", "sessions", "sources", "sweeps", "results"),
    *("notifications", "hellos", "events", "copies", "visits", "visit_notes"),
    *("benches", "bench_steps", "certificates", "weight_checks"),
)
_GIVE_UP_AFTER = 5_000
"""Row numbers in a row without a readable row, after which a table is taken to have ended."""


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What could be read."""

    chunks: int
    scans: int
    rows: int
    """Rows of all other tables."""
    problems: tuple[str, ...]
    """What could not, a sentence each."""


def salvage(damaged: Path, target: Path) -> Salvaged:
    """Makes a new store from what is readable of a damaged one, which is only copied and never changed.

    Raises StoreError when target exists, StoreDamaged when not even the table of tables is readable.
    """
    if target.exists():
        raise StoreError(f"{target} exists: give a new file name, nothing is overwritten")
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=target.name) as folder, Store.open(target) as new:
        old = _opened_copy(damaged, Path(folder))
        try:
            return _copy_all(old, new)
        except sqlite3.Error as error:
            raise StoreDamaged(f"nothing can be read from {damaged}: {error}: restore a backup") from error
        finally:
            old.close()


def _opened_copy(damaged: Path, folder: Path) -> sqlite3.Connection:
    copy = folder / "damaged.sqlite"
    shutil.copyfile(damaged, copy)
    with contextlib.suppress(FileNotFoundError):
        shutil.copyfile(damaged.with_name(damaged.name + "-wal"), folder / "damaged.sqlite-wal")
    old = sqlite3.connect(copy)
    distrust(old)
    old.execute("PRAGMA writable_schema = ON")  # lets SQLite open a file shorter than its header says
    return old


def _copy_all(old: sqlite3.Connection, new: Store) -> Salvaged:
    check_version(old, new.path)
    problems: list[str] = []
    with new.writing() as db:
        db.execute("PRAGMA defer_foreign_keys = ON")
        rows = sum(_copy_table(old, db, table, problems) for table in _COPIED)
        chunks, scans = _copy_chunks(old, db, problems)
        _stand_ins(db, problems)
    return Salvaged(chunks, scans, rows, tuple(problems))


def _copy_table(old: sqlite3.Connection, db: sqlite3.Connection, table: str, problems: list[str]) -> int:
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    insert = f"INSERT OR IGNORE INTO {table}({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    rows = 0
    for values in _rows(old, table, columns, problems):
        row = dict(zip(columns, values, strict=True))
        if table in COVERED and row_crc(table, row) != row["crc"]:
            problems.append(f"row {row['id']} of {table} is damaged and left out")
        else:
            rows += db.execute(insert, values).rowcount
    return rows


def _copy_chunks(old: sqlite3.Connection, db: sqlite3.Connection, problems: list[str]) -> tuple[int, int]:
    chunks = scans = 0
    columns = ["id", *COVERED["chunks"], "crc"]
    for values in _rows(old, "chunks", columns, problems):
        row = dict(zip(columns, values, strict=True))
        try:
            if row_crc("chunks", row) != row["crc"]:
                raise BadChunk("its checksum does not agree")
            samples = decode(row["bytes"], source="")
        except BadChunk as error:
            problems.append(f"chunk {row['id']} of session {row['session_id']} is lost: {error}")
            continue
        insert_chunk(db, row["session_id"], row["source_id"], samples, row["bytes"], chunk_id=row["id"])
        chunks, scans = chunks + 1, scans + len(samples)
    return chunks, scans


def _rows(old: sqlite3.Connection, table: str, columns: list[str], problems: list[str]) -> Iterator[tuple[Any, ...]]:
    """Every readable row, by row number; what is not readable adds one sentence per table."""
    if not is_plain_table(old, table):
        problems.append(f"{table}: there is no such table in the file")
        return
    select = f"SELECT {', '.join(columns)} FROM {table} WHERE rowid = ?"
    lost = quiet = number = 0
    while quiet < _GIVE_UP_AFTER:
        number += 1
        quiet += 1
        try:
            row = old.execute(select, (number,)).fetchone()
        except sqlite3.DatabaseError:
            lost += 1
            continue
        if row is not None:
            quiet = 0
            yield row
    if lost:
        problems.append(f"{table}: some rows lie on pages that cannot be read")


def _stand_ins(db: sqlite3.Connection, problems: list[str]) -> None:
    """Sessions and sources whose own row is lost, so that what belongs to them stays reachable."""
    for table in ("chunks", "notifications", "hellos", "events", "sweeps", "visits"):
        missing = f"SELECT DISTINCT session_id FROM {table} WHERE session_id NOT IN (SELECT id FROM sessions)"
        for (session_id,) in db.execute(missing).fetchall():
            problems.append(f"session {session_id}: start, rig and calibration are lost, what it received is not")
            insert_row(
                db,
                "sessions",
                id=session_id,
                started_utc="unknown",
                monotonic_origin_ns=0,
                software="salvaged",
                rig="",
                calibration_id=keep_calibration(db, {}),
                simulated=0,
            )
    for table in ("chunks", "notifications", "hellos"):
        missing = f"SELECT DISTINCT source_id FROM {table} WHERE source_id NOT IN (SELECT id FROM sources)"
        for (source_id,) in db.execute(missing).fetchall():
            insert_row(db, "sources", id=source_id, name=f"source {source_id}")
    for table in ("sessions", "sweeps"):
        lost = f"UPDATE {table} SET calibration_id = ? WHERE calibration_id NOT IN (SELECT id FROM calibrations)"
        if db.execute(lost, (keep_calibration(db, {}),)).rowcount:
            problems.append(f"{table}: a calibration is lost")
        db.execute(f"UPDATE {table} SET client_id = NULL WHERE client_id NOT IN (SELECT id FROM clients)")
    db.execute("DELETE FROM results WHERE sweep_id NOT IN (SELECT id FROM sweeps)")
    for table in ("client_names", "consents", "visits"):
        db.execute(f"DELETE FROM {table} WHERE client_id NOT IN (SELECT id FROM clients)")
    db.execute("DELETE FROM visit_notes WHERE visit_id NOT IN (SELECT id FROM visits)")
    for table, one, many in (
        ("bench_steps", "bench_id", "benches"),
        ("certificates", "bench_id", "benches"),
        ("certificates", "calibration_id", "calibrations"),
        ("weight_checks", "calibration_id", "calibrations"),
    ):
        db.execute(f"DELETE FROM {table} WHERE {one} NOT IN (SELECT id FROM {many})")
