"""Stores of whole sweeps, damaged at random in known places, salvaged, and used by every command."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import re
import shutil
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from click.testing import Result

from daq.items import Event, Item
from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people, visits
from daq.keep.errors import StoreError
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.rows import TWICE, key_of
from daq.keep.store.sessions import add_copy
from daq.keep.store.verify import verify
from daq.live.real import begin as begin_live
from daq.live.session.resuming import interrupted
from daq.live.session.storing import in_chunks
from daq.measure.calibration import to_dict
from daq.sources.clock import SessionClock
from daq.values import Samples
from tests.commands import foreaft
from tests.faults.damages import DAMAGES, Left, Spans, damaged
from tests.faults.harm import check_sentence
from tests.keep.jig import begin
from tests.ridden import CALIBRATION, PLAN, RATE_HZ, ridden
from tests.rigs import rig_text

SWEEP_US = 75_000_000
A_SESSION = 4
"""Sweeps in a session, which is one client's visit."""


def shifted(item: Item, by_us: int, numbers: int) -> Item:
    """The same later, its scans numbered from further on: no two chunks of a store are alike."""
    if not isinstance(item, Samples):
        return dataclasses.replace(item, received_us=item.received_us + by_us)
    return dataclasses.replace(
        item,
        received_us=item.received_us + by_us,
        ticks_us=(item.ticks_us.astype(np.int64) + by_us).astype(np.uint32),
        sequence=(item.sequence.astype(np.int64) + numbers).astype(np.uint16),
    )


def make(path: Path, sweeps: int, at_the_end: Callable[[Store], None] = lambda _: None) -> bytes:
    """A closed store of so many sweeps, each in a visit of its client; its bytes. at_the_end: what is done before it is
    closed; all of it is in its log then.
    """
    items = ridden(pieces=RATE_HZ, seconds=14)
    with Store.open(path) as store:
        with store.reading() as db:
            db.execute("PRAGMA wal_autocheckpoint = 0")
        session_id = 0
        for number in range(sweeps):
            if number % A_SESSION == 0:
                client = people.add_client(store, name=f"Some Body {number}")
                people.set_consent(store, client.id, "research", True)
                session_id = begin(store, rig=rig_text(), calibration=to_dict(CALIBRATION), simulated=False)
                visit_id = visits.begin_visit(store, client.id, session_id)
                visits.add_note(store, visit_id, "measured", {"height_mm": 700 + number})
            begin_us = (number % A_SESSION) * SWEEP_US
            sweep_id = store.begin_sweep(
                session_id,
                from_us=begin_us,
                plan=PLAN,
                rider={"pseudonym": client.pseudonym, "mass_kg": 75.0},
                gradient_pct=0.0,
                calibration=to_dict(CALIBRATION),
                client_id=client.id,
            )
            visits.add_note(store, visit_id, "sweep", {"sweep_id": sweep_id})
            _put_seconds(store, session_id, [shifted(item, begin_us, 1000 * session_id) for item in items])
            store.end_sweep(sweep_id, to_us=begin_us + 71_000_000, state="finished")
            answer = recompute_stored(store, sweep_id).onset
            assert answer is not None
            store.put_result(sweep_id, kind="onset", method=answer.method, content=answer)
            if number % A_SESSION == A_SESSION - 1:
                store.end_session(session_id, ended_us=A_SESSION * SWEEP_US)
        at_the_end(store)
    return path.read_bytes()


def _put_seconds(store: Store, session_id: int, items: list[Item]) -> None:
    """As the daemon does it: about a second at a time, the scans of each as one chunk."""
    waiting: list[Item] = []
    for item in items:
        waiting.append(item)
        if not isinstance(item, Samples | Event):
            store.put(session_id, in_chunks(waiting))
            waiting = []
    store.put(session_id, in_chunks(waiting))


def harm(path: Path, *statements: str) -> None:
    """Statements that the program itself would never run, on a store that is closed."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("PRAGMA secure_delete = ON")
    for statement in statements:
        db.execute(statement)
    db.close()


@dataclass(frozen=True, slots=True)
class Original:
    """What was in the store before, by where its bytes lie in the file: found by looking for them there."""

    content: bytes
    chunks: dict[int, tuple[int, int, list[tuple[int, int]]]]
    """(session, first receipt, places) by number; a place: from the row's own head to its last byte."""
    texts: dict[tuple[str, int], list[tuple[int, int]]]
    """(table, number) of rows with a text of their own: places of the row and of its twin."""
    notifications: dict[int, tuple[int, int, list[tuple[int, int]]]]
    """(session, receipt, places) by number."""
    rows: dict[str, set[int]]
    """The numbers there are, by table."""


HEAD = 60
"""More than the head and the numbers of a row before its bytes take."""
_TEXTS = {"events": "content", "visit_notes": "content", "clients": "pseudonym"}


def original(path: Path) -> Original:
    """Looks a sound store through."""
    content = path.read_bytes()
    db = sqlite3.connect(path)
    chunks = {
        number: (session_id, first_us, _places(content, packed))
        for number, session_id, first_us, packed in db.execute("SELECT id, session_id, first_us, bytes FROM chunks")
    }
    texts = {}
    for table, column in _TEXTS.items():
        rows = db.execute(f"SELECT id, {column} FROM {table}").fetchall()
        for number, text in rows:
            if sum(text == other for _, other in rows) == 1:
                texts[table, number] = _places(content, text.encode())
    notifications = {
        number: (session_id, received_us, _places(content, payload + _as_written(crc)))
        for number, session_id, received_us, payload, crc in db.execute(
            "SELECT id, session_id, received_us, payload, crc FROM notifications"
        )
    }
    numbers = numbers_of(db)
    db.close()
    return Original(content, chunks, texts, notifications, numbers)


def numbers_of(db: sqlite3.Connection) -> dict[str, set[int]]:
    """The numbers of the rows of each table that has no other way to be looked for."""
    return {
        table: {row[0] for row in db.execute(f"SELECT {key_of(table)} FROM {table}")} for table in (*TWICE, "results")
    }


def _as_written(number: int) -> bytes:
    """A positive number as SQLite writes it in a record (sqlite.org/fileformat2.html, section 2.1)."""
    return number.to_bytes(next(size for size in (1, 2, 3, 4, 6, 8) if number < 1 << (8 * size - 1)), "big")


def _places(content: bytes, part: bytes) -> list[tuple[int, int]]:
    found, at = [], content.find(part)
    while at >= 0:
        found.append((at - HEAD, at + len(part) + 8))
        at = content.find(part, at + 1)
    return found


def whole(places: list[tuple[int, int]], spans: Spans) -> bool:
    """Whether one of the places was not touched."""
    return any(all(end <= a or begin >= b for a, b in spans) for begin, end in places)


def check(kind: str, before: Original, damaged_store: Path, spans: Spans, sweeps: int, folder: Path) -> str:
    """Salvages, and checks that all that is whole came back, all that is lost is told, and every command works."""
    target = folder / "salvaged.sqlite"
    found = salvage(damaged_store, target)
    with Store.open(target) as new, new.reading() as db:
        assert verify(new).problems == (), f"{kind}: the salvaged store is not whole"
        chunks = {(row[0], row[1]) for row in db.execute("SELECT session_id, first_us FROM chunks")}
        rows = {table: {row[0] for row in db.execute(f"SELECT id FROM {table}")} for table in _TEXTS}
        kept = {sweep.id for sweep in new.sweeps()}
        ended = {sweep.id for sweep in new.sweeps() if sweep.state is not None}
        told_by = {row[0] for row in db.execute("SELECT id FROM notifications")}
        missing = {table: before.rows[table] - there for table, there in numbers_of(db).items()}
        lost = [(s, first) for s, first, _ in before.chunks.values() if (s, first) not in chunks]
        unheard = [(s, at_us) for number, (s, at_us, _) in before.notifications.items() if number not in told_by]
        poorer = {(session_id - 1) * A_SESSION + first_us // SWEEP_US + 1 for session_id, first_us in [*lost, *unheard]}
        losses = {sweep_id: _losses(new, sweep_id) for sweep_id in kept}
        copied = {row[0] for row in db.execute("SELECT sweep_id FROM copied_sweeps")}
    for number, (session_id, first_us, places) in before.chunks.items():
        assert (session_id, first_us) in chunks or not whole(places, spans), f"{kind}: chunk {number} did not come back"
    for (table, number), places in before.texts.items():
        assert number in rows[table] or not whole(places, spans), f"{kind}: row {number} of {table} did not come back"
    for number, (_, _, places) in before.notifications.items():
        assert number in told_by or not whole(places, spans), f"{kind}: notification {number} did not come back"
    for table, numbers in missing.items():
        assert not numbers or found.problems, f"{kind}: rows {sorted(numbers)} of {table} are lost and it is not told"
    unanswered = missing["results"] & ended
    assert unanswered <= _told_numbers(found.problems), f"{kind}: lost answers are not told: {unanswered}"
    assert missing["copies"] or kept <= copied, f"{kind}: which sweeps the export holds is lost"
    for session_id, first_us in [*lost, *unheard]:
        sweep_id = (session_id - 1) * A_SESSION + first_us // SWEEP_US + 1
        told = losses[sweep_id] if sweep_id in kept else found.problems
        assert told, f"{kind}: what is lost of sweep {sweep_id} at {first_us} is not told"
    assert len(kept) == sweeps or found.problems, f"{kind}: {sweeps - len(kept)} sweeps are lost and it is not told"
    asked = [*sorted(poorer)[:2], sweeps]
    use(damaged_store, folder / "damaged", asked)
    listed, said = use(target, folder / "salvaged", asked)
    for sweep_id in poorer & kept:
        assert listed.get(sweep_id, f"sweep {sweep_id}" in said), (
            f"{kind}: the export says neither what is lost of sweep {sweep_id} nor that it is left out"
        )
    needless = sum(bool(losses[sweep_id]) for sweep_id in kept - poorer)
    return (
        f"{kind}: {len(lost)} of {len(before.chunks)} chunks and {len(unheard)} of {len(before.notifications)} "
        f"notifications lost, {len(kept)} of {sweeps} sweeps there, {needless} said to lack what they do not"
    )


def _told_numbers(problems: Sequence[str]) -> set[int]:
    """Of stored answers, which have the numbers of their sweeps here, those that are said to be lost."""
    said = [one for one in problems if one.startswith("results: ") or ": the stored answer is lost" in one]
    if any("the stored answers of all sweeps are lost" in one for one in problems):
        return set(range(1, 1000))
    return {int(number) for one in said for number in re.findall(r"\d+", one)}


def _losses(store: Store, sweep_id: int) -> tuple[str, ...]:
    try:
        return recompute_stored(store, sweep_id).losses
    except StoreError as error:
        return (str(error),)


def use(store: Path, folder: Path, numbers: Sequence[int]) -> tuple[dict[int, str], str]:
    """Every command that reads or writes a store, on a copy of it: each does its work or says in a sentence why not.
    What its export says is lost, by sweep, and what it wrote on standard error.

    numbers: the sweeps to compute again.
    """
    folder.mkdir()
    copy = folder / "store.sqlite"
    for ending in ("", "-wal"):
        if store.with_name(store.name + ending).exists():
            shutil.copyfile(store.with_name(store.name + ending), copy.with_name(copy.name + ending))
    commands: list[list[object]] = [
        ["sweeps"],
        ["sweeps", "--json"],
        ["clients", "--json"],
        ["calibrate", "list"],
        ["verify"],
        ["backup", folder / "backup.sqlite"],
        *(["onset", number, "--json"] for number in numbers),
    ]
    for words in commands:
        fine(foreaft(*words, "--store", copy), words)
    words = ["export", "--all", folder / "out"]
    exported = foreaft(*words, "--store", copy)
    fine(exported, words)
    listed = _lost_in(folder / "out")
    for pseudonym in _pseudonyms(copy)[:2]:
        for words in (["hand-over", pseudonym, folder / pseudonym], ["forget", pseudonym, "--yes"]):
            fine(foreaft(*words, "--store", copy), words)
    start(copy)
    shutil.rmtree(folder)
    return listed, exported.stderr


def _lost_in(folder: Path) -> dict[int, str]:
    """By the number at the end of a sweep's name."""
    path = folder / "sweeps.csv"
    if not path.exists():
        return {}
    with path.open(encoding="utf-8", newline="") as file:
        return {int(row["sweep"].rpartition("-")[2]): row["lost"] for row in csv.DictReader(file)}


def start(path: Path) -> None:
    """What the daemon does with a store when it starts."""
    try:
        with Store.open(path) as store:
            now = datetime.datetime.now(datetime.UTC)
            interrupted(store, rig_text=rig_text(), calibration=CALIBRATION, now=now)
            begin_live(store, rig_text=rig_text(), calibration=CALIBRATION, simulated=False, clock=SessionClock())
    except StoreError as error:
        check_sentence(error, path)


def fine(done: Result, words: list[object]) -> None:
    """Its exit code is one of those the README lists, and no fault got through."""
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise AssertionError(f"{' '.join(map(str, words))}: {done.exception!r}") from done.exception
    assert done.exit_code in (0, 1, 2, 4), f"{words}: {done.exit_code}: {done.output}"


def _pseudonyms(store: Path) -> list[str]:
    try:
        with Store.open(store, write=False) as opened:
            return [client.pseudonym for client in people.clients(opened, damaged=lambda _: None)]
    except StoreError:
        return []


def made_and_left(path: Path, sweeps: int) -> tuple[bytes, Left]:
    """A store of so many sweeps, exported once, closed, and as a daemon leaves it that is killed."""
    found: list[Left] = []

    def export_and_leave(store: Store) -> None:
        with store.writing() as db:
            add_copy(db, "export", path.with_name("exported"), range(1, sweeps + 1))
        found.append((path.read_bytes(), path.with_name(path.name + "-wal").read_bytes()))

    return make(path, sweeps, export_and_leave), found[0]


def check_all(folder: Path, *, sweeps: int, cases: int, seed: int) -> list[str]:
    """So many damages of a store of so many sweeps, each kind in turn; what became of each."""
    path = folder / "sound.sqlite"
    content, left = made_and_left(path, sweeps)
    before = original(path)
    told = []
    for number in range(cases):
        rng = np.random.default_rng([seed, number])
        case = folder / f"case{number}"
        case.mkdir()
        kind = DAMAGES[number % len(DAMAGES)]
        spans = damaged(kind, content, left, case / "damaged.sqlite", rng)
        told.append(check(kind, before, case / "damaged.sqlite", spans, sweeps, case))
        shutil.rmtree(case)
    return told
