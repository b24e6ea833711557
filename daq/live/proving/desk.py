"""A proof in progress on a session: one task after the other, each reading saved in the sheet's file before the
next."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from daq.keep.bounded import from_json, read_bytes
from daq.live.bench.standing import utc_now
from daq.live.session.session import Session
from daq.proof.sheet import MOST_BYTES, Reading, Sheet
from daq.proof.tasks import BadValue, Task, check, due
from daq.refusals import NotNow

SETTLE_S = 2.0
"""From the engineer's confirmation to the first scan that counts."""
STILL_N = 0.5
QUARTERS = 4
FEWEST_SCANS = 8
LATEST_S = 15.0
"""A board that has sent nothing for this long beyond the reading is gone."""
LOOK_S = 0.005


class ProofDesk:
    """The sheet and its file, and the readings for it."""

    def __init__(self, session: Session, sheet: Sheet, path: Path) -> None:
        self._session, self.sheet, self._path = session, sheet, path

    @property
    def task(self) -> Task | None:
        """What is due; None when the proof is finished."""
        return due(self.sheet)

    async def done(self, task: Task, typed: Mapping[str, float], told: Callable[[str], None] = lambda _: None) -> None:
        """Take the reading for a finished task, and save it. BadValue for implausible values or loads that still move;
        NotNow if the board is silent; OSError.
        """
        if task.id == "empty":
            await self._session.zero.take()
        at_s, read = self._session.acquisition.clock.now_us() / 1e6, {}
        if task.reads:
            read = await self._read(at_s, told)
        reading = Reading(task=task.id, at_utc=utc_now(), t_min=at_s / 60.0, typed=dict(typed), **read)
        check(self.sheet, task, reading)
        sheet = self.sheet.with_reading(reading)
        save(sheet, self._path)
        self.sheet = sheet

    async def _read(self, from_s: float, told: Callable[[str], None]) -> dict[str, float]:
        """Means of hands, saddle and tilt over the plan's seconds, from when it has settled."""
        at, seconds = self._session.acquisition, self.sheet.plan.read_s
        begin_s, end_s = from_s + SETTLE_S, from_s + SETTLE_S + seconds
        while not (blocks := at.recent.last()) or blocks[-1].t_s[-1] < end_s:
            if at.clock.now_us() / 1e6 > end_s + LATEST_S:
                raise NotNow(f"the {at.sensors.loads_from} has sent nothing usable; see its cable and power")
            await asyncio.sleep(LOOK_S)
        t_s = np.concatenate([block.t_s for block in blocks])
        within = (t_s >= begin_s) & (t_s <= end_s)
        if np.count_nonzero(within) < FEWEST_SCANS:
            raise NotNow(
                f"{np.count_nonzero(within)} scans arrived in {seconds:g} s; see the board's cable, read again"
            )
        columns = {
            name: np.concatenate([getattr(block, name) for block in blocks])[within]
            for name in ("hands_n", "saddle_n", "tilt_deg")
        }
        hands = [float(part.mean()) for part in np.array_split(columns["hands_n"], QUARTERS)]
        if max(hands) - min(hands) > STILL_N:
            raise BadValue(f"hand load still moves by {max(hands) - min(hands):.1f} N: hands off, let it rest, again")
        means = {name: float(values.mean()) for name, values in columns.items()}
        told(f"hands {means['hands_n']:.2f} N, saddle {means['saddle_n']:.2f} N, tilt {means['tilt_deg']:.2f}°")
        return means


def save(sheet: Sheet, path: Path) -> None:
    """Write the sheet so that a power failure leaves the previous one or this one. OSError."""
    beside = path.with_name(f".{path.name}.new")
    with beside.open("w", encoding="utf-8") as file:
        file.write(sheet.model_dump_json(indent=1) + "\n")
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def load(path: Path) -> Sheet:
    """A sheet from its file. OSError; ValueError that says what is wrong with it."""
    return Sheet.model_validate(from_json(read_bytes(path, MOST_BYTES)))
