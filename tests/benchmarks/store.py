"""What the store costs, as ratios within one run: `python -m tests.benchmarks.store`. Exit code 1 if a goal is missed.

The signal: a simulated rider at 90 rpm on a 24-bit board, 8 channels at 1 kHz, 2000 counts per newton, ripple of
15-40 N at twice the cadence, white noise of 40 counts (tests.keep.jig.pedalling). Noise decides the size: 40 counts
alone hold log2(40 sqrt(2 pi e)) = 7.4 bits, 0.92 bytes.

Found on two quiet cores: 1.37 bytes a channel sample; a durable put 1.92 of write and fdatasync; a window of 60 s read
74 times faster than rows.
"""

import os
import sqlite3
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from daq.keep.store import Store
from daq.keep.store.chunks import encode
from daq.values import Samples
from tests.benchmarks.goals import Figure, print_figures
from tests.keep.jig import begin, concatenated, pedalling

SECONDS = 120
RATE_HZ = 1000
CHANNELS = 8
SAMPLES = SECONDS * RATE_HZ * CHANNELS
ROWS = """
CREATE TABLE samples(id INTEGER PRIMARY KEY, session_id INTEGER, source_id INTEGER, received_us INTEGER,
    ticks_us INTEGER, sequence INTEGER, status INTEGER, channel INTEGER, count INTEGER);
CREATE INDEX samples_by_time ON samples(session_id, source_id, received_us);
"""


def row_store(path: Path) -> sqlite3.Connection:
    """The same durability with a row per channel sample."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.executescript(ROWS)
    return db


def put_rows(db: sqlite3.Connection, samples: Samples, *, commits: int) -> None:
    """One second as rows, committed in so many pieces."""
    n, k = samples.counts.shape
    columns = [
        np.repeat(column.astype(np.int64), k).tolist()
        for column in (samples.received_us, samples.ticks_us, samples.sequence, samples.status)
    ]
    rows = list(zip(*columns, list(range(k)) * n, samples.counts.ravel().tolist(), strict=True))
    piece = len(rows) // commits
    for start in range(0, len(rows), piece):
        db.execute("BEGIN")
        db.executemany(
            "INSERT INTO samples(session_id, source_id, received_us, ticks_us, sequence, status, channel, count) "
            "VALUES (1, 1, ?, ?, ?, ?, ?, ?)",
            rows[start : start + piece],
        )
        db.execute("COMMIT")


def read_rows(db: sqlite3.Connection, from_us: int, to_us: int) -> np.ndarray:
    """A window of rows as an array of scans by columns."""
    rows = db.execute(
        "SELECT received_us, ticks_us, sequence, status, count FROM samples "
        "WHERE session_id = 1 AND source_id = 1 AND received_us >= ? AND received_us < ? ORDER BY id",
        (from_us, to_us),
    ).fetchall()
    return np.array(rows)


def append_synced(descriptor: int, content: bytes) -> None:
    """What no store can do without: the bytes on the disk."""
    os.write(descriptor, content)
    os.fdatasync(descriptor)


def measure_puts(folder: Path, store: Store, session_id: int, rows: sqlite3.Connection) -> dict[str, float]:
    """Seconds for one second of samples by each road, taken in turn so that the disk's moods hit all alike."""
    plain = os.open(folder / "plain", os.O_WRONLY | os.O_CREAT)
    scan_rows = row_store(folder / "scan_rows.sqlite")
    taken: dict[str, list[float]] = {"plain": [], "put": [], "rows": [], "scan by scan": []}
    for second in range(SECONDS):
        samples = pedalling(scans=RATE_HZ, channels=CHANNELS, from_us=second * 1_000_000)
        packed = encode(samples)
        taken["plain"].append(seconds(partial(append_synced, plain, packed)))
        taken["put"].append(seconds(partial(store.put, session_id, [samples])))
        taken["rows"].append(seconds(partial(put_rows, rows, samples, commits=1)))
        if second < 3:
            taken["scan by scan"].append(seconds(partial(put_rows, scan_rows, samples, commits=RATE_HZ)))
    os.close(plain)
    scan_rows.close()
    return {road: float(np.median(found)) for road, found in taken.items()}


def seconds(act: Callable[[], object]) -> float:
    """How long one act takes."""
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


def median_s(act: Callable[[], object], times: int = 9) -> float:
    """Median seconds of one act."""
    return float(np.median([seconds(act) for _ in range(times)]))


def measure(folder: Path) -> list[Figure]:
    """(what, measured, 'at most' or 'at least', goal or None when it is only told)."""
    window = (30_000_000, 90_000_000)
    rows = row_store(folder / "rows.sqlite")
    with Store.open(folder / "store.sqlite") as store:
        session_id = begin(store)
        puts = measure_puts(folder, store, session_id, rows)
        with store.reading() as db:
            live = db.execute("SELECT sum(length(bytes)) FROM chunks").fetchone()[0]
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        file_size = (folder / "store.sqlite").stat().st_size
        live_read = median_s(lambda: concatenated(list(store.read_items(session_id, *window))))
    rows_read = median_s(lambda: read_rows(rows, *window), 3)
    rows.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    rows.close()
    rows_size = (folder / "rows.sqlite").stat().st_size
    return [
        ("bytes per channel sample, live", live / SAMPLES, "at most", 1.8),
        ("  the whole file, indexes included", file_size / SAMPLES, "at most", 1.8),
        ("  a row per sample, the whole file", rows_size / SAMPLES, "", None),
        ("durable put / write and fdatasync of the same bytes", puts["put"] / puts["plain"], "at most", 2.0),
        ("durable put, times faster than rows, a commit a scan", puts["scan by scan"] / puts["put"], "at least", 50.0),
        ("  than rows, one commit for the second", puts["rows"] / puts["put"], "", None),
        ("60 s read live, times faster than rows", rows_read / live_read, "at least", 60.0),
    ]


if __name__ == "__main__":
    sys.exit(print_figures(measure))
