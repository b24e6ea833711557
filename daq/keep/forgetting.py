"""Takes a client out of the store, and says where copies lie that the store cannot reach."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection

from daq.keep.chunks import encode
from daq.keep.errors import StoreBusy
from daq.keep.people import client
from daq.keep.raw import insert_chunk
from daq.keep.reading import read_chunk
from daq.keep.records import copies_of_client
from daq.keep.store import Store
from daq.values import cut

_TIMED = ("notifications", "hellos", "events")


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What went, and what is left to do by hand."""

    pseudonym: str
    sessions: int
    """Sessions removed whole."""
    sweeps: int
    backups: tuple[Path, ...]
    """Files that still hold the client: whole stores, copied since the client is known."""
    exports: tuple[Path, ...]
    """Folders that still hold the client's sweeps, under the pseudonym, or what was handed over."""
    overwritten: bool
    """Whether the removed bytes are overwritten; not while another program goes on reading an older state."""


def forget(store: Store, client_id: int) -> Forgotten:
    """Removes the name, the consents, the visits, the sweeps with their results, and the raw received during them.

    A session that was this client's alone goes whole; of one shared with others only what was received during this
    client's sweeps. Freed pages are overwritten, the log is emptied. Calibrations stay: they are of the jig.
    Raises StoreDamaged when a chunk that is shared with others cannot be read, StoreBusy when another program reads,
    which would keep the bytes in the file; nothing is removed then.
    """
    gone = client(store, client_id)
    if not _log_emptied(store):
        raise StoreBusy(
            f"{store.path} is being read by another program, which would keep in the file what is removed: "
            "close it and try again; nothing is removed yet"
        )
    with store.writing() as db:
        sweeps = db.execute(
            "SELECT id, session_id, from_us, coalesce(to_us, ?) FROM sweeps WHERE client_id = ?",
            (2**63 - 1, client_id),
        ).fetchall()
        copies = copies_of_client(db, client_id)
        own = _own_sessions(db, client_id)
        db.execute(
            "DELETE FROM visit_notes WHERE visit_id IN (SELECT id FROM visits WHERE client_id = ?)", (client_id,)
        )
        db.execute("DELETE FROM visits WHERE client_id = ?", (client_id,))
        for sweep_id, session_id, from_us, to_us in sweeps:
            db.execute("DELETE FROM results WHERE sweep_id = ?", (sweep_id,))
            db.execute("DELETE FROM sweeps WHERE id = ?", (sweep_id,))
            if session_id not in own:
                _remove_window(db, session_id, from_us, to_us)
        for session_id in own:
            for table in ("second_sums", "chunks", *_TIMED):
                db.execute(f"DELETE FROM {table} WHERE session_id = ?", (session_id,))
            db.execute("DELETE FROM sessions WHERE id = ?", (session_id,))
        db.execute("UPDATE sessions SET client_id = NULL WHERE client_id = ?", (client_id,))
        for table in ("client_names", "consents"):
            db.execute(f"DELETE FROM {table} WHERE client_id = ?", (client_id,))
        db.execute("DELETE FROM clients WHERE id = ?", (client_id,))
    paths = {kind: tuple(sorted({Path(path) for k, _, path in copies if k == kind})) for kind in ("backup", "export")}
    return Forgotten(
        gone.pseudonym, len(own), len(sweeps), paths["backup"], paths["export"], overwritten=_log_emptied(store)
    )


def _log_emptied(store: Store) -> bool:
    """Whether all of the log could be written into the file; a reader of an older state prevents it."""
    with store.reading() as db:
        busy = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    return not busy


def _own_sessions(db: Connection, client_id: int) -> set[int]:
    """Sessions that are this client's and nobody else's."""
    touched = db.execute(
        "SELECT id FROM sessions WHERE client_id = ?1 UNION SELECT session_id FROM sweeps WHERE client_id = ?1",
        (client_id,),
    )
    others = (
        "SELECT 1 FROM sweeps WHERE session_id = ?1 AND client_id IS NOT ?2 "
        "UNION SELECT 1 FROM visits WHERE session_id = ?1 AND client_id <> ?2"
    )
    return {row[0] for row in touched if not db.execute(others, (row[0], client_id)).fetchone()}


def _remove_window(db: Connection, session_id: int, from_us: int, to_us: int) -> None:
    for table in _TIMED:
        db.execute(
            f"DELETE FROM {table} WHERE session_id = ? AND received_us >= ? AND received_us < ?",
            (session_id, from_us, to_us),
        )
    found = db.execute(
        "SELECT chunks.id, source_id, name FROM chunks JOIN sources ON sources.id = source_id "
        "WHERE session_id = ? AND last_us >= ? AND first_us < ?",
        (session_id, from_us, to_us),
    ).fetchall()
    for chunk_id, source_id, source in found:
        samples = read_chunk(db, chunk_id, source)
        outside = (samples.received_us < from_us) | (samples.received_us >= to_us)
        db.execute("DELETE FROM second_sums WHERE session_id = ? AND chunk_id = ?", (session_id, chunk_id))
        db.execute("DELETE FROM chunks WHERE id = ?", (chunk_id,))
        if outside.any():
            rest = cut(samples, outside)
            insert_chunk(db, session_id, source_id, rest, encode(rest), chunk_id=chunk_id)
