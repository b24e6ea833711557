"""The store: one SQLite file that holds every session, raw first.

Raw data is appended and never edited; anything computed from it is a result with its method's version and is never
overwritten. When a call that writes has returned, what it wrote is durable (daq.keep.store.file).

One process writes, any number read (open those with write=False). A Store may be created in one thread and used in
another, but only by one thread at a time.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from functools import partial
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from daq.items import Item
from daq.keep.errors import StoreDamaged
from daq.keep.json_text import json_text
from daq.keep.store import chunks, sessions, writing
from daq.keep.store.file import StoreFile, open_for_reading, open_for_writing
from daq.keep.store.reading import BEGIN_US, END_US, read_items
from daq.keep.store.rows import insert_row
from daq.keep.store.sessions import ResultRecord, SessionRecord, SweepRecord
from daq.values import Samples


class Store:
    """An open store. Make it with Store.open, use it as a context manager or close it."""

    def __init__(self, file: StoreFile) -> None:
        self._file = file

    @classmethod
    def open(cls, path: Path, *, write: bool = True) -> Store:
        """Opens the store, creating it if it is new and migrating it if it is old.

        Raises StoreBusy when another process writes to it, StoreNewer, StoreReadOnly, StoreFull, StoreDamaged.
        """
        return cls(open_for_writing(path) if write else open_for_reading(path))

    @property
    def path(self) -> Path:
        """The file."""
        return self._file.path

    @property
    def writable(self) -> bool:
        """Whether it was opened for writing."""
        return self._file.writable

    @property
    def migrated_copy(self) -> Path | None:
        """Where the store was copied to before it was brought to a newer schema, if it was."""
        return self._file.migrated_copy

    def close(self) -> None:
        """Releases file and lock. May be called twice."""
        self._file.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def check_there(self) -> None:
        """StoreVanished when the file is no longer at its path; StoreUnwritable when its disk takes nothing."""
        self._file.check_there()

    def writing(self) -> AbstractContextManager[Connection]:
        """One transaction: durable when the block is left, undone when it raises."""
        return self._file.writing()

    def reading(self) -> AbstractContextManager[Connection]:
        """The connection, with SQLite's errors turned into ours."""
        return self._file.reading()

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """Everything read inside is from one moment, whatever a daemon writes meanwhile; the daemon is not held up. A
        store opened for writing has no other writer.
        """
        if self.writable:
            yield
            return
        with self.reading() as db:
            db.execute("BEGIN")
            try:
                yield
            finally:
                db.execute("COMMIT")

    def begin_session(
        self,
        *,
        started_utc: str,
        monotonic_origin_ns: int,
        software: str,
        rig: str,
        calibration: Any,
        simulated: bool,
        client_id: int | None = None,
    ) -> int:
        """A new session's id. calibration: anything JSON can hold; stored for ever, once per distinct content."""
        with self.writing() as db:
            return insert_row(
                db,
                "sessions",
                started_utc=started_utc,
                monotonic_origin_ns=monotonic_origin_ns,
                software=software,
                rig=rig,
                calibration_id=sessions.keep_calibration(db, calibration),
                simulated=int(simulated),
                client_id=client_id,
            )

    def end_session(self, session_id: int, *, ended_us: int | None) -> None:
        """Marks the session as properly ended; with None as gone on after its end."""
        with self.writing() as db:
            sessions.end_session(db, session_id, ended_us)

    def session(self, session_id: int) -> SessionRecord:
        """One session. StoreError when there is none with this id."""
        with self.reading() as db:
            return sessions.session(db, session_id)

    def sessions(self, damaged: Callable[[StoreDamaged], None] | None = None) -> list[SessionRecord]:
        """All sessions, oldest first. A damaged one raises StoreDamaged, or is handed to `damaged` and left out."""
        with self.reading() as db:
            return sessions.sessions(db, damaged)

    def last_us(self, session_id: int) -> int:
        """The latest receipt time stored for a session, 0 if there is none: where a resumed session continues."""
        with self.reading() as db:
            return sessions.last_us(db, session_id)

    def put(
        self, session_id: int, items: Sequence[Item], refused: Callable[[Item, Exception], None] | None = None
    ) -> None:
        """Stores what was received, all of it or nothing, in one transaction; durable on return. Each Samples becomes
        one chunk: pass about a second at a time. Raises StoreUnwritable (StoreFull if there is no room): then none of
        these items is stored, and the call may be repeated. An item that no store can hold raises what was found, or
        is handed to `refused` and left out.
        """
        kept = [item for item in items if not isinstance(item, Samples) or len(item)]
        if not kept:
            return
        with self.writing() as db:
            for item in kept:
                with contextlib.nullcontext() if refused is None else writing.apart(db, partial(refused, item)):
                    chunk = chunks.encode(item) if isinstance(item, Samples) else b""
                    writing.insert(db, session_id, item, chunk)

    def read_items(
        self,
        session_id: int,
        from_us: int = BEGIN_US,
        to_us: int = END_US,
        *,
        gaps: bool = False,
    ) -> Iterator[Item]:
        """Everything received from from_us until before to_us, in receipt order.

        Samples of one source come in the order in which they were stored, split where something else was received in
        between. Damage raises StoreDamaged; with gaps, an event of daq.items.LOST takes its place.
        """
        with self.reading() as db:
            yield from read_items(db, session_id, from_us, to_us, gaps=gaps)

    def begin_sweep(
        self,
        session_id: int,
        *,
        from_us: int,
        plan: Any,
        rider: Any,
        gradient_pct: float,
        calibration: Any,
        client_id: int | None = None,
    ) -> int:
        """A new sweep's id. plan, rider, calibration: dataclasses or what JSON can hold; never the rider's name."""
        with self.writing() as db:
            return insert_row(
                db,
                "sweeps",
                session_id=session_id,
                client_id=client_id,
                calibration_id=sessions.keep_calibration(db, calibration),
                from_us=from_us,
                gradient_pct=float(gradient_pct),
                plan=json_text(plan),
                rider=json_text(rider),
            )

    def end_sweep(self, sweep_id: int, *, to_us: int | None, state: str | None) -> None:
        """When the sweep ended, and how; None: it goes on."""
        with self.writing() as db:
            sessions.end_sweep(db, sweep_id, to_us, state)

    def sweep(self, sweep_id: int) -> SweepRecord:
        """One sweep. StoreError when there is none with this id."""
        with self.reading() as db:
            return sessions.sweep(db, sweep_id)

    def sweeps(self, damaged: Callable[[StoreDamaged], None] | None = None) -> list[SweepRecord]:
        """All sweeps, oldest first. A damaged one raises StoreDamaged, or is handed to `damaged` and left out."""
        with self.reading() as db:
            return sessions.sweeps(db, damaged)

    def losses(self, sweep: SweepRecord) -> list[str]:
        """What a salvage noted as lost of a sweep's raw data, a phrase each."""
        with self.reading() as db:
            return sessions.losses(db, sweep)

    def calibration(self, calibration_id: int) -> Any:
        """A calibration's content as plain JSON values."""
        with self.reading() as db:
            return sessions.calibration(db, calibration_id)

    def put_result(self, sweep_id: int, *, kind: str, method: str, content: Any) -> int:
        """Adds a result; older ones of the same kind stay. method: name and version of what computed it."""
        with self.writing() as db:
            return sessions.add_result(db, sweep_id, kind, method, content)

    def results(
        self, sweep_id: int, kind: str | None = None, damaged: Callable[[StoreDamaged], None] | None = None
    ) -> list[ResultRecord]:
        """The results of a sweep, oldest first; of one kind when it is given. Damaged ones as in `sweeps`."""
        with self.reading() as db:
            return sessions.results(db, sweep_id, kind, damaged)
