"""The tables, as an append-only list of steps. A step that has shipped is never edited; a change is a new step.

The number of steps is the schema's number, kept in SQLite's user_version; application_id marks the file as ours.
Before an older store is migrated, a copy of it is kept beside it.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from daq.keep.errors import StoreError, StoreNewer
from daq.keep.private import PRIVATELY

APPLICATION_ID = 0x466F7265
"""'Fore' in ASCII; lets file(1) and us tell a store from any other SQLite file."""

TABLES_1 = """
CREATE TABLE calibrations(
    id INTEGER PRIMARY KEY, digest TEXT NOT NULL UNIQUE, kept_utc TEXT NOT NULL, content TEXT NOT NULL,
    crc INTEGER NOT NULL) STRICT;
CREATE TABLE clients(
    id INTEGER PRIMARY KEY, pseudonym TEXT NOT NULL UNIQUE, since_utc TEXT NOT NULL, keep_until TEXT) STRICT;
CREATE TABLE client_names(
    client_id INTEGER PRIMARY KEY REFERENCES clients(id), name TEXT NOT NULL) STRICT;
CREATE TABLE consents(
    id INTEGER PRIMARY KEY, client_id INTEGER NOT NULL REFERENCES clients(id),
    kind TEXT NOT NULL CHECK (kind IN ('service', 'research', 'images')),
    given INTEGER NOT NULL CHECK (given IN (0, 1)), at_utc TEXT NOT NULL) STRICT;
CREATE TABLE sessions(
    id INTEGER PRIMARY KEY, started_utc TEXT NOT NULL, monotonic_origin_ns INTEGER NOT NULL,
    software TEXT NOT NULL, rig TEXT NOT NULL, calibration_id INTEGER NOT NULL REFERENCES calibrations(id),
    simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
    client_id INTEGER REFERENCES clients(id), ended_us INTEGER, crc INTEGER NOT NULL) STRICT;
CREATE TABLE sources(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, crc INTEGER NOT NULL) STRICT;
CREATE TABLE chunks(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL REFERENCES sessions(id),
    source_id INTEGER NOT NULL REFERENCES sources(id),
    first_us INTEGER NOT NULL, last_us INTEGER NOT NULL,
    scans INTEGER NOT NULL, channels INTEGER NOT NULL, crc INTEGER NOT NULL, bytes BLOB NOT NULL) STRICT;
CREATE INDEX chunks_by_time ON chunks(session_id, source_id, last_us, first_us);
CREATE TABLE second_sums(
    session_id INTEGER NOT NULL REFERENCES sessions(id), source_id INTEGER NOT NULL REFERENCES sources(id),
    second INTEGER NOT NULL, chunk_id INTEGER NOT NULL,
    scans INTEGER NOT NULL, status INTEGER NOT NULL, sums BLOB NOT NULL,
    PRIMARY KEY (session_id, source_id, second, chunk_id)) STRICT, WITHOUT ROWID;
CREATE TABLE notifications(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL REFERENCES sessions(id),
    source_id INTEGER NOT NULL REFERENCES sources(id), received_us INTEGER NOT NULL,
    characteristic TEXT NOT NULL, payload BLOB NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX notifications_by_time ON notifications(session_id, received_us);
CREATE TABLE hellos(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL REFERENCES sessions(id),
    source_id INTEGER NOT NULL REFERENCES sources(id), received_us INTEGER NOT NULL, content TEXT NOT NULL,
    crc INTEGER NOT NULL) STRICT;
CREATE INDEX hellos_by_time ON hellos(session_id, received_us);
CREATE TABLE events(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL REFERENCES sessions(id),
    received_us INTEGER NOT NULL, kind TEXT NOT NULL, content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX events_by_time ON events(session_id, received_us);
CREATE TABLE sweeps(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL REFERENCES sessions(id),
    client_id INTEGER REFERENCES clients(id), calibration_id INTEGER NOT NULL REFERENCES calibrations(id),
    from_us INTEGER NOT NULL, to_us INTEGER, gradient_pct REAL NOT NULL,
    plan TEXT NOT NULL, rider TEXT NOT NULL, state TEXT, crc INTEGER NOT NULL) STRICT;
CREATE INDEX sweeps_by_session ON sweeps(session_id);
CREATE TABLE results(
    id INTEGER PRIMARY KEY, sweep_id INTEGER NOT NULL REFERENCES sweeps(id), kind TEXT NOT NULL,
    method TEXT NOT NULL, made_utc TEXT NOT NULL, content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX results_by_sweep ON results(sweep_id, kind);
CREATE TABLE copies(
    id INTEGER PRIMARY KEY, kind TEXT NOT NULL CHECK (kind IN ('backup', 'export')), made_utc TEXT NOT NULL,
    path TEXT NOT NULL) STRICT;
CREATE TABLE copied_sweeps(
    copy_id INTEGER NOT NULL REFERENCES copies(id), sweep_id INTEGER NOT NULL,
    PRIMARY KEY (copy_id, sweep_id)) STRICT, WITHOUT ROWID;
"""

VISITS_2 = """
CREATE TABLE visits(
    id INTEGER PRIMARY KEY, client_id INTEGER NOT NULL REFERENCES clients(id),
    session_id INTEGER NOT NULL REFERENCES sessions(id), begun_utc TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX visits_by_client ON visits(client_id);
CREATE TABLE visit_notes(
    id INTEGER PRIMARY KEY, visit_id INTEGER NOT NULL REFERENCES visits(id), kind TEXT NOT NULL,
    made_utc TEXT NOT NULL, content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX visit_notes_by_visit ON visit_notes(visit_id, kind)
"""

CALIBRATIONS_3 = """
CREATE TABLE benches(
    id INTEGER PRIMARY KEY, session_id INTEGER NOT NULL, begun_utc TEXT NOT NULL, setup TEXT NOT NULL,
    crc INTEGER NOT NULL) STRICT;
CREATE TABLE bench_steps(
    id INTEGER PRIMARY KEY, bench_id INTEGER NOT NULL REFERENCES benches(id), made_utc TEXT NOT NULL,
    kind TEXT NOT NULL, content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX bench_steps_by_bench ON bench_steps(bench_id);
CREATE TABLE certificates(
    id INTEGER PRIMARY KEY, calibration_id INTEGER NOT NULL REFERENCES calibrations(id),
    bench_id INTEGER NOT NULL REFERENCES benches(id), made_utc TEXT NOT NULL, content TEXT NOT NULL,
    crc INTEGER NOT NULL) STRICT;
CREATE INDEX certificates_by_calibration ON certificates(calibration_id);
CREATE TABLE weight_checks(
    id INTEGER PRIMARY KEY, calibration_id INTEGER NOT NULL REFERENCES calibrations(id), made_utc TEXT NOT NULL,
    content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX weight_checks_by_calibration ON weight_checks(calibration_id)
"""
"""A bench outlives its session: the session may be forgotten with its rider, but a calibration belongs to the jig."""

COPIES_4 = """
ALTER TABLE copies ADD COLUMN client_id INTEGER
"""
"""The client, for a copy of one client alone, who need not have ridden a sweep."""

TWINS_5 = """
DROP TABLE second_sums;
CREATE TABLE twins(
    id INTEGER PRIMARY KEY, of TEXT NOT NULL, row_id INTEGER NOT NULL, content TEXT NOT NULL,
    crc INTEGER NOT NULL) STRICT;
CREATE UNIQUE INDEX twins_of ON twins(of, row_id);
ALTER TABLE clients ADD COLUMN crc INTEGER;
ALTER TABLE client_names ADD COLUMN crc INTEGER;
ALTER TABLE consents ADD COLUMN crc INTEGER;
ALTER TABLE copies ADD COLUMN crc INTEGER;
ALTER TABLE copied_sweeps ADD COLUMN crc INTEGER;
ALTER TABLE sessions ADD COLUMN now_crc INTEGER;
ALTER TABLE sweeps ADD COLUMN now_crc INTEGER
"""
"""A checksum on everything, and a twin for each row of the small tables (daq.keep.store.rows)."""

JOINS_6 = """
CREATE TABLE client_joins(
    id INTEGER PRIMARY KEY, kind TEXT NOT NULL CHECK (kind IN ('joined', 'parted')),
    kept_id INTEGER NOT NULL REFERENCES clients(id), other_id INTEGER NOT NULL REFERENCES clients(id),
    at_utc TEXT NOT NULL, content TEXT NOT NULL, crc INTEGER NOT NULL) STRICT;
CREATE INDEX client_joins_by_other ON client_joins(other_id)
"""
"""Two records of one client, joined, and parted again; content says which rows went over."""

SUMMED = "5 everything under a checksum, rows twice"
"""The step since which every row has a checksum."""
STEPS: tuple[tuple[str, str], ...] = (
    ("1 first tables", TABLES_1),
    ("2 visits of clients", VISITS_2),
    ("3 benches, certificates, checks with a weight", CALIBRATIONS_3),
    ("4 copies of one client", COPIES_4),
    (SUMMED, TWINS_5),
    ("6 clients joined", JOINS_6),
)
"""(name, SQL) in order. Append only."""


def check_version(db: sqlite3.Connection, path: Path, steps: tuple[tuple[str, str], ...] = STEPS) -> int:
    """The schema number of an open store, 0 if it is new and empty. Raises StoreNewer if it is ahead of this program,
    StoreError if the file belongs to another program.
    """
    application = db.execute("PRAGMA application_id").fetchone()[0]
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    # sqlite-utils begins with its own table: on a disk that was full, or killed, the first step may not have followed
    begun = "SELECT count(*) FROM sqlite_schema WHERE tbl_name != '_sqlite_migrations'"
    empty = not db.execute(begun).fetchone()[0]
    if application != APPLICATION_ID and not (empty and version == 0):
        raise StoreError(f"{path} is an SQLite file of another program: give the path of a store, or of a new file")
    if version > len(steps):
        raise StoreNewer(
            f"{path} has schema {version}, this program knows up to {len(steps)}: use the newer program it was "
            "written by, or give another store"
        )
    return version


def migrate(
    db: sqlite3.Connection,
    path: Path,
    steps: tuple[tuple[str, str], ...] = STEPS,
    *,
    then: Callable[[Path], None] = lambda _: None,
) -> Path | None:
    """Migrates an open store to the newest schema; returns the path of the copy made before, None if none was needed.

    then: is given that path, and changes rows that were there. It belongs to the steps: all of it is one transaction,
    since a store that already says it is of the newest schema is never completed.
    """
    version = check_version(db, path, steps)
    if version == len(steps):
        return None
    kept = _keep_copy(db, path, version) if version else None
    with _without("pandas"):
        from sqlite_utils import Database, Migrations  # a quarter of a second to import, seldom needed

    migrations = Migrations("foreaft")
    for number, (name, sql) in enumerate(steps, start=1):
        migrations(name=name)(_step(number, sql))
    database = Database(db, recursive_triggers=False, execute_plugins=False)
    with database.atomic():
        migrations.apply(database)
        if kept is not None:
            then(kept)
    return kept


def statements(sql: str) -> list[str]:
    """The statements of a step, one by one."""
    return [statement for statement in sql.split(";") if statement.strip()]


@contextlib.contextmanager
def _without(module: str) -> Iterator[None]:
    """No import finds this module, unless it is loaded already. sqlite-utils loads pandas wherever there is one, to
    know a type that no store of ours holds: two thirds of its time.
    """
    if module in sys.modules:
        yield
        return
    sys.modules[module] = None  # type: ignore[assignment]  # so an import is told that there is none
    try:
        yield
    finally:
        del sys.modules[module]


def _step(number: int, sql: str) -> Any:
    def apply(database: Any) -> None:
        for statement in statements(sql):
            database.execute(statement)
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {number}")

    return apply


def _keep_copy(db: sqlite3.Connection, path: Path, version: int) -> Path:
    kept = path.with_name(f"{path.stem}.schema{version}{path.suffix}")
    os.close(os.open(kept, os.O_RDWR | os.O_CREAT | PRIVATELY, 0o600))  # health data: the owner's alone
    copy = sqlite3.connect(kept)
    try:
        db.backup(copy)
    finally:
        copy.close()
    return kept
