"""Removes a client from the store, and says where there are copies that the store cannot reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection

from daq.keep.clients.copies import copies_known
from daq.keep.clients.people import Client, client_called, records_of
from daq.keep.errors import NotThere, StoreBusy
from daq.keep.store import Store
from daq.keep.store.chunks import encode
from daq.keep.store.reading import END_US, read_chunk
from daq.keep.store.rows import delete_rows, delete_stray_twins, update_row
from daq.keep.store.sessions import SweepRecord
from daq.keep.store.writing import insert_chunk
from daq.values import cut

_TIMED = ("notifications", "hellos", "events")
_ENTERED = ("pseudonym", "exported_as")
"""What was entered about a rider who is not a client here: given to the daemon, or brought by an import."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was removed, and what is left to do by hand."""

    pseudonym: str
    sessions: int
    """Sessions removed whole."""
    sweeps: int
    backups: tuple[Path, ...]
    """Files that still hold the client: whole stores, copied since the client was added."""
    exports: tuple[Path, ...]
    """Folders that still hold the client's sweeps, under the pseudonym, or what was handed over."""
    unread: tuple[Path, ...]
    """Backups of which it is not known what was exported from them."""
    overwritten: bool
    """Whether the removed bytes have been overwritten; not while another program is still reading an older state."""


def known_as(store: Store, pseudonym: str) -> tuple[Client | None, list[SweepRecord]]:
    """The client of this pseudonym and the sweeps under it. NotThere when there is neither.

    Sweeps ridden without a visit, or imported, have no client: for them, what was entered about the rider counts. The
    pseudonyms of records joined with the client's are the client's as well.
    """
    asked = pseudonym.strip().upper()
    called = {asked}
    try:
        client = client_called(store, asked)
        called |= {one.pseudonym for one in records_of(store, client.id)}
    except NotThere:
        client = None
    found = [
        sweep
        for sweep in store.sweeps(damaged=lambda _: None)
        if (sweep.client_id is not None and client is not None and sweep.client_id == client.id)
        or (sweep.client_id is None and called & {str(sweep.rider.get(key)).upper() for key in _ENTERED})
    ]
    if client is None and not found:
        raise NotThere(f"no client {asked} in {store.path.name}")
    return client, found


def forget(store: Store, pseudonym: str) -> Forgotten:
    """Removes the name, the consents, the visits, the sweeps with their results, and the raw received during them.

    A session that was this client's alone is removed whole; from a shared one, only what was received during this
    client's sweeps. Freed pages are overwritten, the log is emptied. Calibrations stay: they belong to the jig. Raises
    NotThere, StoreDamaged if a chunk shared with others cannot be read, StoreBusy if another program is reading, which
    would keep the bytes in the file; then nothing is removed.
    """
    client, sweeps = known_as(store, pseudonym)
    client_id = None if client is None else client.id
    records = [] if client is None else [one.id for one in records_of(store, client.id)]
    if not _log_emptied(store):
        raise StoreBusy(
            f"{store.path} is being read by another program, which would keep in the file what is removed: "
            "close it and try again; nothing is removed yet"
        )
    copies = copies_known(store, client, sweeps)
    with store.writing() as db:
        own = _own_sessions(db, client_id, sweeps)
        delete_rows(db, "visit_notes", "visit_id IN (SELECT id FROM visits WHERE client_id = ?)", (client_id,))
        delete_rows(db, "visits", "client_id = ?", (client_id,))
        for sweep in sweeps:
            db.execute("DELETE FROM results WHERE sweep_id = ?", (sweep.id,))
            delete_rows(db, "sweeps", "id = ?", (sweep.id,))
            if sweep.session_id not in own:
                _remove_window(db, sweep.session_id, sweep.from_us, END_US if sweep.to_us is None else sweep.to_us)
        for session_id in own:
            for table in ("chunks", *_TIMED):
                delete_rows(db, table, "session_id = ?", (session_id,))
            delete_rows(db, "sessions", "id = ?", (session_id,))
        for (session_id,) in db.execute("SELECT id FROM sessions WHERE client_id = ?", (client_id,)).fetchall():
            update_row(db, "sessions", session_id, client_id=None)
        _remove_records(db, records)
        delete_stray_twins(db)
    paths = {kind: tuple(sorted({copy.path for copy in copies if copy.kind == kind})) for kind in ("backup", "export")}
    return Forgotten(
        pseudonym.strip().upper(),
        len(own),
        len(sweeps),
        paths["backup"],
        paths["export"],
        tuple(sorted(copy.path for copy in copies if copy.unread)),
        overwritten=_log_emptied(store),
    )


def _remove_records(db: Connection, records: Sequence[int]) -> None:
    """The client's own record, those joined with it, and the notes of joining and parting them."""
    for of in ("kept_id", "other_id"):
        delete_rows(db, "client_joins", f"{of} IN ({_places(records)})", records)
    for table in ("client_names", "consents"):
        delete_rows(db, table, f"client_id IN ({_places(records)})", records)
    delete_rows(db, "clients", f"id IN ({_places(records)})", records)


def _places(values: Sequence[int]) -> str:
    return ", ".join("?" * len(values))


def _log_emptied(store: Store) -> bool:
    """Whether the whole log could be written into the file; a reader of an older state prevents it."""
    with store.reading() as db:
        busy = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    return not busy


def _own_sessions(db: Connection, client_id: int | None, sweeps: Sequence[SweepRecord]) -> set[int]:
    """Sessions that are this client's and nobody else's."""
    theirs = {session_id for (session_id,) in db.execute("SELECT id FROM sessions WHERE client_id = ?", (client_id,))}
    gone = {sweep.id for sweep in sweeps}
    own = set()
    for session_id in theirs | {sweep.session_id for sweep in sweeps}:
        ridden = {row[0] for row in db.execute("SELECT id FROM sweeps WHERE session_id = ?", (session_id,))}
        visited = {row[0] for row in db.execute("SELECT client_id FROM visits WHERE session_id = ?", (session_id,))}
        if ridden <= gone and visited <= {client_id}:
            own.add(session_id)
    return own


def _remove_window(db: Connection, session_id: int, from_us: int, to_us: int) -> None:
    for table in _TIMED:
        delete_rows(db, table, "session_id = ? AND received_us >= ? AND received_us < ?", (session_id, from_us, to_us))
    found = db.execute(
        "SELECT chunks.id, source_id, name FROM chunks JOIN sources ON sources.id = source_id "
        "WHERE session_id = ? AND last_us >= ? AND first_us < ?",
        (session_id, from_us, to_us),
    ).fetchall()
    for chunk_id, source_id, source in found:
        samples = read_chunk(db, chunk_id, source)
        outside = (samples.received_us < from_us) | (samples.received_us >= to_us)
        db.execute("DELETE FROM chunks WHERE id = ?", (chunk_id,))
        if outside.any():
            rest = cut(samples, outside)
            insert_chunk(db, session_id, source_id, rest, encode(rest), chunk_id=chunk_id)
