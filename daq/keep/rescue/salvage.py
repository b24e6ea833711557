"""Brings what is still readable of a damaged store into a new one.

Every page of the file is read by itself: neither its header nor its tables nor the pages that lead to others need to be
whole. A row is taken where its checksum agrees, else from its twin; sweeps whose row is lost twice are rebuilt from the
event that began them. What is missing of a sweep's raw is noted in it, so that its answer says so from now on.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from daq.keep.bounded import Refused
from daq.keep.errors import StoreDamaged, StoreError, StoreNewer
from daq.keep.rescue.belongs import columns_by_table
from daq.keep.rescue.copied import copied_sweeps
from daq.keep.rescue.ends import silent_ends
from daq.keep.rescue.found_rows import Found, found_in, row_at
from daq.keep.rescue.gaps import note_gaps
from daq.keep.rescue.index_rows import INDICES, listed
from daq.keep.rescue.missing import AGAIN, missing_answers, missing_tables
from daq.keep.rescue.pages import Pages
from daq.keep.rescue.rebuilt import rebuild_sweeps
from daq.keep.rescue.stand_ins import place_stand_ins
from daq.keep.rescue.twins import from_twins
from daq.keep.store.file import BEGUN
from daq.keep.store.lock import take_lock
from daq.keep.store.log import log_of
from daq.keep.store.migrations import STEPS, SUMMED
from daq.keep.store.replacing import BESIDE, log_without_store
from daq.keep.store.rows import TWICE, insert_row
from daq.keep.store.store import Store
from daq.words import counted


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What could be read."""

    chunks: int
    scans: int
    rows: int
    """Rows of all other tables."""
    problems: tuple[str, ...]
    """What could not, a sentence each."""
    told: tuple[str, ...] = ()
    """What was damaged and could be put right, and what could not be checked."""
    rebuilt: tuple[int, ...] = ()
    """Sweeps whose row was lost; of those that have no end yet, computing them again tells where it is."""


def salvage(damaged: Path, target: Path) -> Salvaged:
    """Makes a new store from what is readable of a damaged one, which is only read and never changed.

    Raises StoreError when target exists, StoreDamaged when nothing of a store can be found; no target is left then.
    """
    _refuse_taken(target)
    if not (damaged.exists() or log_of(damaged).exists()):
        raise StoreError(f"there is neither {damaged} nor a log of it")
    try:
        with Pages(damaged) as pages:
            found = found_in(pages)
            _refuse_newer(found, damaged)
            if not any(found.rows.values()) and not any(found.places.values()):
                raise StoreDamaged(f"nothing of a store can be found in {damaged}: restore a backup")
            return _made(pages, found, target)
    except Refused as error:
        raise StoreError(str(error)) from error


def _refuse_taken(target: Path) -> None:
    if target.exists():
        raise StoreError(f"{target} exists: give a new file name, nothing is overwritten")
    if left_over := log_without_store(target):
        raise StoreError(f"{left_over} is left over from another store: give another file name, or move it away")


def _made(pages: Pages, found: Found, target: Path) -> Salvaged:
    partial = target.with_name(f".{target.name}.partial")
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    lock = take_lock(target)  # from the first look to the last name: another one may take neither
    try:
        _refuse_taken(target)  # again: reading took its time
        _remove(partial)  # the rows of a salvage that was killed would be there twice
        try:
            with Store.open(partial) as new:
                salvaged = _copied(pages, found, new)
            os.replace(partial, target)
        finally:
            _remove(partial)
    finally:
        os.close(lock)
    return salvaged


def _remove(partial: Path) -> None:
    for ending in ("", *BESIDE, ".lock", BEGUN):
        partial.with_name(partial.name + ending).unlink(missing_ok=True)


def _refuse_newer(found: Found, path: Path) -> None:
    newer = {name for name in found.migrations if name not in {name for name, _ in STEPS}}
    if newer:
        raise StoreNewer(f"{path} was written by a newer program ({min(newer)}): salvage it with that one")


def _copied(pages: Pages, found: Found, new: Store) -> Salvaged:
    lists = {
        table: listed(pages, table, found.roots.get(index), found.places[table])
        for table, (index, _) in INDICES.items()
    }
    untrue = any(
        rows is None or rows.keys() > found.places[table].keys()
        for table, rows in lists.items()
        if INDICES[table][0] in found.roots
    )
    restored = from_twins(found)
    harmed = found.harmed or untrue or bool(restored or pages.log.problems)
    problems, told = _file_problems(pages, found)
    if restored:
        told.append(f"damaged or lost, and read from the twin: {counted(restored, 'row')}")
    # where nothing else shows damage, what an older store cannot prove is believed, and that is told
    unchecked = SUMMED not in found.migrations and not (harmed or problems or told)
    copied = copied_sweeps(pages, found.roots.get("copied_sweeps"), unchecked=unchecked)
    if copied and unchecked:
        told.append("which sweeps each backup and export holds is taken unchecked: so old a store has no checksums")
    with new.writing() as db:
        db.execute("PRAGMA defer_foreign_keys = ON")
        rows = sum(_insert_all(db, table, found) for table in TWICE)
        bulk = {table: _insert_bulk(db, pages, table, found) for table in found.places}
        rows += bulk["notifications"] + bulk["results"]
        problems += _missing_numbers(found) if harmed else []
        place_stand_ins(db, problems)
        before = {row[0] for row in db.execute("SELECT id FROM sweeps")}
        told += rebuild_sweeps(db, problems)
        rebuilt = tuple(row[0] for row in db.execute("SELECT id FROM sweeps ORDER BY id") if row[0] not in before)
        rows += _copy_lists(db, copied, rebuilt, problems)
        tables = missing_tables(db, found.missing_tables, found.freed)
        told, problems = told + tables.told, problems + tables.problems
        if harmed:
            pages_lost = bool(found.cut_off or found.lost_pages or found.repeated or pages.log.problems)
            tail_lost = pages_lost or bool(found.damaged)
            problems += note_gaps(
                db,
                lists,
                pages_lost=pages_lost or "chunks" in tables.lost,
                tail_lost=tail_lost or "notifications" in tables.lost,
            )
            problems += missing_answers(db) if tail_lost and "results" not in tables.lost else []
        problems += silent_ends(db)
        for table in ("results", "copied_sweeps"):
            gone = db.execute(f"DELETE FROM {table} WHERE sweep_id NOT IN (SELECT id FROM sweeps)").rowcount
            if gone and table == "results":
                problems.append(f"left out: {counted(gone, 'result')} of sweeps of which nothing else is left")
        (chunks, scans) = db.execute("SELECT count(*), coalesce(sum(scans), 0) FROM chunks").fetchone()
    return Salvaged(chunks, scans, rows, tuple(problems), tuple(told), rebuilt)


def _file_problems(pages: Pages, found: Found) -> tuple[list[str], list[str]]:
    problems, told = list(pages.log.problems), list(pages.log.told)
    if not pages.header_sound:
        told.append(f"the file's header was damaged; pages of {pages.size} bytes were found without it")
    if found.cut_off:
        of = ("" if pages.stated else "at least ") + counted(found.expected, "page")
        problems.append(f"the file is cut off: it has {found.expected - found.cut_off} of {of}")
    if found.damaged:
        problems.append(f"damaged and left out: {counted(len(found.damaged), 'row')}")
    if found.miscounted:
        told.append(
            f"{counted(len(found.miscounted), 'page')} with other rows than announced; all that can be read are taken"
        )
    if found.misnumbered:
        told.append(
            f"{counted(found.misnumbered, 'row')} with a damaged number, which the rows before and after it tell"
        )
    if found.lost_pages:
        problems.append(f"nothing can be read on {counted(len(found.lost_pages), 'page')} of {pages.size} bytes")
    if found.repeated:
        problems.append(f"{counted(len(found.repeated), 'page')} with a copy of another; what should be there is lost")
    if found.blank:
        problems.append(
            f"{counted(len(found.blank), 'page')} of {pages.size} bytes with zeros only: free after a client was "
            "removed, or what was there is lost; numbers of rows that are missing are named below"
        )
    return problems, told


def _insert_all(db: sqlite3.Connection, table: str, found: Found) -> int:
    rows = found.rows[table]
    for number in sorted(rows):
        row = {name: value for name, value in rows[number].items() if name not in ("crc", "now_crc")}
        with contextlib.suppress(sqlite3.IntegrityError):  # a number flipped: the row is there under its own already
            insert_row(db, table, **row)
    return len(rows)


def _insert_bulk(db: sqlite3.Connection, pages: Pages, table: str, found: Found) -> int:
    columns = columns_by_table()[table]
    for number, (page, place) in sorted(found.places[table].items()):
        row = row_at(pages, table, columns, page, place) | {"id": number}
        insert_row(db, table, **{name: value for name, value in row.items() if name != "crc"})
    return len(found.places[table])


def _copy_lists(
    db: sqlite3.Connection, copied: Sequence[tuple[int, int]] | None, rebuilt: Sequence[int], problems: list[str]
) -> int:
    """Which sweeps each copy holds; where that is not known, it may hold all. What it holds of sweeps that are gone may
    be what was rebuilt, under a new number."""
    ids = {row[0] for row in db.execute("SELECT id FROM copies")}
    rows = set() if copied is None else {one for one in copied if one[0] in ids}
    # no export is made of no sweep, but for a client who has none
    exports = {row[0] for row in db.execute("SELECT id FROM copies WHERE kind = 'export' AND client_id IS NULL")}
    unknown = ids if copied is None else exports - {copy_id for copy_id, _ in rows}
    sweeps = [row[0] for row in db.execute("SELECT id FROM sweeps")]
    if unknown and sweeps:
        which = "each backup and export holds" if copied is None else f"{counted(len(unknown), 'export')} held"
        problems.append(
            f"which sweeps {which} is lost: foreaft forget names each for every client; look into them before you "
            "delete one"
        )
    gone = {copy_id for copy_id, sweep_id in rows if sweep_id not in sweeps}
    rows |= {(copy_id, sweep_id) for copy_id in unknown for sweep_id in sweeps}
    rows |= {(copy_id, sweep_id) for copy_id in gone for sweep_id in rebuilt}
    for copy_id, sweep_id in sorted(rows):
        insert_row(db, "copied_sweeps", copy_id=copy_id, sweep_id=sweep_id)
    return len(rows)


def _missing_numbers(found: Found) -> list[str]:
    """Rows nothing is left of: numbers without a row, where something is damaged. Some may have been deleted before."""
    said = []
    for table, there in [
        *((one, found.rows[one].keys()) for one in TWICE),
        ("results", found.places["results"].keys()),
    ]:
        missing = sorted(set(range(1, max(there, default=0))) - there)
        if missing:
            named = ", ".join(map(str, missing[:10])) + (" and more" if len(missing) > 10 else "")
            cure = AGAIN if table == "results" else ""
            said.append(f"{table}: nothing is left of number {named}, if it was not deleted before{cure}")
    return said
