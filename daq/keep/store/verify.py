"""Reads every chunk of a store, counts it, sums it, and compares with what was written beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from sqlite3 import Connection

from daq.keep.errors import StoreDamaged
from daq.keep.store.checksums import COVERED, unsound_rows
from daq.keep.store.reading import read_chunk
from daq.keep.store.store import Store
from daq.keep.store.sums import second_sums


@dataclass(frozen=True, slots=True)
class Verified:
    """What was found."""

    sessions: int
    sweeps: int
    chunks: int
    scans: int
    samples: int
    """Scans times channels."""
    problems: tuple[str, ...]
    """A sentence each; empty when everything is as it was written."""


def verify(store: Store, progress: Callable[[int, int], None] | None = None) -> Verified:
    """Checks SQLite's own structure, every chunk's CRC and length, and every second's sums against its chunk.

    progress(done, all) counts chunks. Damage is listed, never raised.
    """
    problems: list[str] = []
    scans = samples = 0
    with store.reading() as db:
        problems += [f"SQLite: {row[0]}" for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
        rows = db.execute(
            "SELECT chunks.id, name, scans, channels FROM chunks JOIN sources ON sources.id = source_id "
            "ORDER BY chunks.id"
        ).fetchall()
        for done, (chunk_id, source, chunk_scans, channels) in enumerate(rows, start=1):
            try:
                problems += _sums_problems(db, chunk_id, source)
                scans += chunk_scans
                samples += chunk_scans * channels
            except StoreDamaged as error:
                problems.append(str(error))
            if progress is not None:
                progress(done, len(rows))
        problems += _orphans(db)
        for table in sorted(COVERED.keys() - {"chunks"}):
            problems += [f"row {row_id} of {table} is damaged" for row_id in unsound_rows(db, table)]
    return Verified(len(store.sessions()), len(store.sweeps()), len(rows), scans, samples, tuple(problems))


def _sums_problems(db: Connection, chunk_id: int, source: str) -> list[str]:
    found = {
        one.second: (one.scans, one.status, one.to_bytes()) for one in second_sums(read_chunk(db, chunk_id, source))
    }
    kept = {
        second: (scans, status, packed)
        for second, scans, status, packed in db.execute(
            "SELECT second, second_sums.scans, status, sums FROM chunks CROSS JOIN second_sums USING "
            "(session_id, source_id) WHERE chunks.id = ?1 AND chunk_id = ?1 AND second BETWEEN "
            "first_us / 1000000 - 1 AND last_us / 1000000 + 1",
            (chunk_id,),
        )
    }
    wrong = sorted(second for second in found.keys() | kept.keys() if found.get(second) != kept.get(second))
    return [f"chunk {chunk_id} of '{source}': the sums of second {second} do not match it" for second in wrong]


def _orphans(db: Connection) -> list[str]:
    stray = db.execute(
        "SELECT count(*) FROM second_sums WHERE NOT EXISTS (SELECT 1 FROM chunks WHERE chunks.id = chunk_id)"
    ).fetchone()[0]
    return [f"{stray} sums of seconds belong to no chunk"] if stray else []
