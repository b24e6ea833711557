"""Reads every row and every chunk of a store, and compares them with their checksums and their twins."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from daq.keep.errors import StoreDamaged
from daq.keep.store.checksums import COVERED
from daq.keep.store.reading import read_chunk
from daq.keep.store.rows import TWICE, columns_of, lonely_rows, unsound_rows
from daq.keep.store.store import Store


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
    """One sentence each; empty if everything is as it was written."""


def verify(store: Store, progress: Callable[[int, int], None] | None = None) -> Verified:
    """Checks SQLite's own structure, every chunk's checksum and length, every other row's, and that no row is without
    its twin.

    progress(done, all) counts chunks. Damage is listed, never raised.
    """
    problems: list[str] = []
    scans = samples = 0
    with store.reading() as db:
        problems += [f"SQLite: {row[0]}" for row in db.execute("PRAGMA integrity_check") if row[0] != "ok"]
        names = dict(db.execute("SELECT id, name FROM sources").fetchall())
        rows = db.execute("SELECT id, source_id FROM chunks ORDER BY id").fetchall()
        for done, (chunk_id, source_id) in enumerate(rows, start=1):
            try:
                found = read_chunk(db, chunk_id, names.get(source_id, f"source {source_id}"))
                scans += len(found)
                samples += found.counts.size
            except StoreDamaged as error:
                problems.append(str(error))
            if progress is not None:
                progress(done, len(rows))
        twins = bool(columns_of(db, "twins"))
        for table in sorted(COVERED.keys() - {"chunks"}):
            if columns_of(db, table):
                problems += [f"row {row_id} of {table} is damaged" for row_id in unsound_rows(db, table)]
            if twins and table in TWICE:
                problems += [f"row {row_id} of {table} is without its twin" for row_id in lonely_rows(db, table)]
        counts = [db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("sessions", "sweeps")]
    return Verified(counts[0], counts[1], len(rows), scans, samples, tuple(problems))
