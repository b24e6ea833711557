"""A proof of the jig under way: one task after the other, each reading kept in the sheet's file before the next."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np

from daq.keep.proofs import keep, kept, load, new_path
from daq.keep.store import Store
from daq.live.bench.standing import utc_now
from daq.live.session.backlog import Backlog
from daq.live.session.occupied import Occupied
from daq.measure.calibration import Calibration
from daq.measure.zero import Zero
from daq.proof.proved import Proof, proved
from daq.proof.sheet import DummyParts, ProofPlan, ProofReading, Sheet, parts_of, parts_said
from daq.proof.tasks import ProofTask, check, due, lacks, stages, tasks
from daq.refusals import BadValue, NotNow
from daq.rig import Rig
from daq.sources.clock import SessionClock
from daq.words import counted

SETTLE_S = 2.0
"""From the engineer's word to the first scan that counts."""
STILL_N = 0.5
QUARTERS = 4
FEWEST_SCANS = 8
LATEST_S = 15.0
"""A board that has sent nothing for so long beyond the reading is gone."""
LOOK_S = 0.005
FOLDER = "proofs"
"""Beside the store."""
T = TypeVar("T")
Hands = Callable[[ProofTask], Mapping[str, float]]
"""Does a task on a simulated jig; gives what caliper, gauge and level show."""


@dataclass(slots=True)
class Work:
    """The proof that is worked through."""

    sheet: Sheet
    path: Path
    task: ProofTask | None
    """What is to be done; None when the proof is finished."""
    hands: Hands | None
    began_min: float
    """Added to the session's minutes, so that a proof that goes on in another session goes on in time."""
    shown: Mapping[str, float]
    """What the instruments of a simulated jig show of the task; empty on a real one."""
    reading: bool = False
    told: str = ""
    """Of the last reading."""
    proof: Proof | None = None
    """What came of it."""


class Needs(Protocol):
    """What this desk needs of the acquisition."""

    rig: Rig
    calibration: Calibration
    clock: SessionClock
    recent: Backlog
    simulated: bool

    def channels(self) -> tuple[str, ...]: ...
    async def ask(self, use: Callable[[Store], T]) -> T: ...


class ProofDesk:
    """The sheet and its file, and the readings for it."""

    def __init__(
        self,
        at: Needs,
        occupied: Occupied,
        *,
        take_zero: Callable[[], Awaitable[Zero]],
        restore_zero: Callable[[Sequence[float]], Awaitable[None]],
    ) -> None:
        """take_zero: of the jig as it stands. restore_zero: goes on with these counts."""
        self._at, self._occupied = at, occupied
        self._take_zero, self._restore_zero = take_zero, restore_zero
        self.hands_for: Callable[[Sheet], Hands] | None = None
        """A simulated engineer at a simulated jig with a dummy."""
        self.work: Work | None = None

    # --- which proof ------------------------------------------------------------------------------------------------

    async def begin(
        self, dummy: DummyParts, *, made_by: str, place: str, placements: int, read_s: float, path: Path | None = None
    ) -> None:
        """A new sheet, in this file or one of its own beside the store. NotNow while the jig is taken; ValueError for a
        dummy that does not fit this jig; StoreUnwritable.
        """
        self._free()
        dummy.refuse_unless_it_fits(self._at.rig)
        at, begun_utc = self._at, utc_now()
        sheet = Sheet(
            made_by=made_by,
            begun_utc=begun_utc,
            place=place,
            rig=at.rig.name,
            calibration=at.calibration.id,
            parts=parts_of(at.rig, at.calibration.id),
            consists_of=parts_said(at.rig),
            simulated=at.simulated,
            g_m_s2=at.rig.g_m_s2,
            dummy=dummy,
            plan=ProofPlan(placements=placements, read_s=read_s, gradual=dummy.gradual is not None),
        )
        path = path or new_path(await self.folder(), begun_utc)
        await asyncio.to_thread(keep, sheet, path)
        await self._set(sheet, path)

    async def take_up(self, path: Path) -> None:
        """Go on with the sheet of this file, its zero included. NotNow while the jig is taken; ValueError; OSError."""
        self._free()
        sheet, at = load(path), self._at
        if (sheet.parts, sheet.simulated) != (parts_of(at.rig, at.calibration.id), at.simulated):
            raise ValueError(f"{path.name} was begun on another jig, or a part has changed since: begin a new sheet")
        empty = sheet.latest().get("empty")
        if empty is not None and empty.zero_counts:
            await self._restore_zero(empty.zero_counts)
        await self._set(sheet, path)

    async def kept(self) -> dict[str, Sheet]:
        """The sheets begun on the page, newest first."""
        return await asyncio.to_thread(kept, await self.folder())

    async def folder(self) -> Path:
        """Where sheets begun on the page lie."""
        return await self._at.ask(lambda store: store.path.parent / FOLDER)

    def under_way(self) -> Work:
        """NotNow without a proof."""
        if self.work is None:
            raise NotNow("no proof is under way; begin one, or go on with one", see="proof")
        return self.work

    def has_jig(self) -> bool:
        """Whether a proof has the jig: from its zero until it is put away, since the dummy is hooked in till then. One
        that is taken up to be looked at has it too, until it is put away: what hangs there is not known."""
        return self.work is not None and (self.work.task is None or self.work.task.id != "empty")

    def leave(self) -> None:
        """Put the proof aside; it can be taken up again. NotNow while a reading is taken."""
        if self.under_way().reading:
            raise NotNow("a reading is being taken; let it end")
        self.work = None

    # --- what is done -----------------------------------------------------------------------------------------------

    async def done(self, typed: Mapping[str, float], *, task_id: str | None = None) -> None:
        """Take the reading of the task that was done, and keep it. task_id: which one that was, for who may not know
        the one that is due now.

        BadValue for values that cannot be meant or loads that still move; NotNow when the board is silent, and for
        another task than is due; StoreUnwritable, and it is due still.
        """
        work = self.under_way()
        if work.reading:
            raise NotNow("a reading is being taken; let it end")
        if work.task is None:
            raise NotNow("the proof is finished; begin a new one")
        if task_id not in (None, work.task.id):
            raise NotNow("that one is done already, perhaps on another page; read what is to be done now")
        work.reading = True
        try:
            work.sheet = await self._read(work, work.task, typed)
        finally:
            work.reading = False
        await self._next(work)

    def again(self) -> None:
        """The last one is done again; what was read of it stays in the sheet. NotNow before the first."""
        work = self.under_way()
        if work.reading or not work.sheet.readings:
            raise NotNow("nothing was read yet" if not work.reading else "a reading is being taken; let it end")
        last = work.sheet.readings[-1].task
        self._give(work, next(task for task in tasks(work.sheet.plan) if task.id == last))

    # --- within -----------------------------------------------------------------------------------------------------

    def _free(self) -> None:
        self._occupied.refuse("the jig is put to the proof")
        if lacking := lacks(self._at.rig):
            raise NotNow(f"a proof needs cells at hands and saddle and a tilt sensor; this rig has no {lacking[0]}")
        self._at.channels()
        if self._at.simulated and self.hands_for is None:
            raise NotNow(
                "this simulated jig has no dummy; to try a proof: foreaft prove run proof.json --simulated --page"
            )

    async def _set(self, sheet: Sheet, path: Path) -> None:
        began_min = 0.0
        if sheet.readings:
            last = sheet.readings[-1]
            since_s = (datetime.fromisoformat(utc_now()) - datetime.fromisoformat(last.at_utc)).total_seconds()
            began_min = last.t_min + max(since_s, 0.0) / 60.0 - self._at.clock.now_us() / 60e6
        hands = None if self.hands_for is None else self.hands_for(sheet)
        self.work = Work(sheet, path, None, hands, began_min, {})
        await self._next(self.work)

    async def _next(self, work: Work) -> None:
        self._give(work, due(work.sheet))
        if work.task is None and work.proof is None:
            work.proof = await asyncio.to_thread(proved, work.sheet)

    def _give(self, work: Work, task: ProofTask | None) -> None:
        work.task, work.proof = task, None
        work.shown = {} if work.hands is None or task is None else work.hands(task)

    async def _read(self, work: Work, task: ProofTask, typed: Mapping[str, float]) -> Sheet:
        """The sheet with the reading of this task, in its file."""
        zero_counts: tuple[float, ...] = ()
        if task.id == "empty":
            zero_counts = (await self._take_zero()).counts
        at_s, read = self._at.clock.now_us() / 1e6, {}
        if task.reads:
            read = await self._means(at_s, work.sheet.plan.read_s)
        reading = ProofReading(
            task=task.id,
            at_utc=utc_now(),
            t_min=work.began_min + at_s / 60.0,
            typed=dict(typed),
            zero_counts=zero_counts,
            **read,
        )
        check(work.sheet, task, reading)
        sheet = work.sheet.with_reading(reading)
        await asyncio.to_thread(keep, sheet, work.path)
        work.told = _said(read)
        return sheet

    async def _means(self, from_s: float, seconds: float) -> dict[str, float]:
        """Means of hands, saddle and tilt over the plan's seconds, from when it has settled."""
        at = self._at
        begin_s, end_s = from_s + SETTLE_S, from_s + SETTLE_S + seconds
        while not (blocks := at.recent.last()) or blocks[-1].t_s[-1] < end_s:
            if at.clock.now_us() / 1e6 > end_s + LATEST_S:
                raise NotNow(f"the {at.rig.loads_from} has sent nothing usable; see its cable and power")
            await asyncio.sleep(LOOK_S)
        t_s = np.concatenate([block.t_s for block in blocks])
        within = (t_s >= begin_s) & (t_s <= end_s)
        if (came := int(np.count_nonzero(within))) < FEWEST_SCANS:
            raise NotNow(f"{counted(came, 'scan')} arrived in {seconds:g} s; see the board's cable, read again")
        columns = {
            name: np.concatenate([getattr(block, name) for block in blocks])[within]
            for name in ("hands_n", "saddle_n", "tilt_deg")
        }
        hands = [float(part.mean()) for part in np.array_split(columns["hands_n"], QUARTERS)]
        if max(hands) - min(hands) > STILL_N:
            raise BadValue(f"hand load still moves by {max(hands) - min(hands):.1f} N: hands off, let it rest, again")
        return {name: float(values.mean()) for name, values in columns.items()}


def _said(read: Mapping[str, float]) -> str:
    if not read:
        return ""
    hands_n, saddle_n, tilt_deg = (read[name] for name in ("hands_n", "saddle_n", "tilt_deg"))
    return f"hands {hands_n:z.2f} N, saddle {saddle_n:z.2f} N, tilt {tilt_deg:z.2f}°"


def fields(work: Work) -> dict[str, Any]:
    """Everything a screen shows of a proof."""
    task = work.task
    return {
        "name": work.path.stem,
        "made_by": work.sheet.made_by,
        "jig": work.sheet.rig,
        "read_s": SETTLE_S + work.sheet.plan.read_s,
        "done": len(work.sheet.latest()),
        "of": len(tasks(work.sheet.plan)),
        "stages": [asdict(stage) for stage in stages(work.sheet)],
        "task": None
        if task is None
        else {
            "id": task.id,
            "stage": task.stage,
            "instruction": task.instruction,
            "typed": list(task.typed),
            "reads": task.reads,
        },
        "shown": dict(work.shown),
        "reading": work.reading,
        "told": work.told,
        "last": work.sheet.readings[-1].task if work.sheet.readings else None,
    }
