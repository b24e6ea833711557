"""Writes raw data to the store about once a second, in order, without holding anything up. If the store cannot take it
(disk full, locked), it is kept in memory, reported, and retried. If the store's file vanishes, all it holds is carried
over into a new one, and recording goes on there.
"""

from __future__ import annotations

import asyncio
import itertools
import logging
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from daq.items import Event, Item
from daq.keep.errors import NotStored, StoreBusy, StoreDamaged, StoreError, StoreUnwritable, StoreVanished
from daq.keep.paths import default_state_folder
from daq.keep.store import Store
from daq.keep.store.vanished import carry_over
from daq.keep.store.writing import is_of_the_content
from daq.measure.calibration import Calibration, to_dict
from daq.sweep.plan import Plan
from daq.values import Samples, joined

EVERY_S = 1.0
KEPT = "kept in memory, not stored yet"
log = logging.getLogger("foreaft.store")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Call:
    """A result of a sweep, or its end."""

    what: str
    cure: str
    """If it cannot be written."""
    write: Callable[[Store], object]


class Storing:
    """The one thread that touches the store, and what still waits for it."""

    def __init__(self, store: Store, session_id: int, *, refuge: Path | None = None) -> None:
        """refuge: where a new store goes if this one's folder is gone; None: the state folder."""
        self.session_id = session_id
        self.trouble = ""
        """Why the store does not accept what waits; empty if it does."""
        self.vanished = ""
        """Where everything has been since the store's file vanished; empty if it has not."""
        self.refused = ""
        """What no store could hold: what was received last and is lost, or else the first result; empty if nothing."""
        self._items_refused = 0
        self._adrift = False
        """Whether the store's file has vanished and its content has not been carried over yet."""
        self._refuge = refuge or default_state_folder(os.environ, Path.home())
        self._store = store
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="store")
        self._lock = asyncio.Lock()
        self._next: asyncio.Future[bool] | None = None
        """The flush that has been requested but has not started."""
        self._items: list[Item] = []
        self._calls: list[_Call] = []

    def add(self, item: Item) -> None:
        """Queue one item; it is durable after the next flush."""
        self._items.append(item)

    def add_result(self, sweep_id: int, kind: str, method: str, content: Any) -> None:
        """Queue a computed result; it is written after all raw data queued before it."""
        self._calls.append(
            _Call(
                f"{kind} of sweep {sweep_id}",
                f"foreaft onset {sweep_id} computes it again",
                lambda store: store.put_result(sweep_id, kind=kind, method=method, content=content),
            )
        )

    def end_sweep(self, sweep_id: int, to_us: int | None, state: str | None) -> None:
        """Queue the end of a sweep; None: that it goes on."""
        self._calls.append(
            _Call(
                f"end of sweep {sweep_id}",
                f"foreaft close {sweep_id} ends it",
                lambda store: store.end_sweep(sweep_id, to_us=to_us, state=state),
            )
        )

    async def flush(self) -> bool:
        """Make everything queued so far durable. Returns False, with `trouble` set and nothing lost, if that is
        impossible. A waiting caller may be cancelled, the flush itself may not: the items it holds would be lost. All
        calls made before a flush starts share it, so many callers cost the disk no more than a few.
        """
        if self._next is None:
            self._next = asyncio.ensure_future(self._flush())
        return await asyncio.shield(self._next)

    async def stored(self) -> None:
        """Return when everything queued so far is on the disk. NotStored if it is only in memory; StoreUnwritable if
        some of it cannot be stored at all."""
        refused = self._items_refused
        if not await self.flush():
            raise NotStored(self.trouble)
        if self._items_refused != refused:
            raise StoreUnwritable(self.refused)

    async def _flush(self) -> bool:
        async with self._lock:
            self._next = None
            items, self._items = self._items, []
            calls, self._calls = self._calls, []
            try:
                if items:
                    await self._call(self._put, items)
                    items = []
                while calls:
                    await self._write(calls[0])
                    calls.pop(0)
                await self._look_after_the_file()
            except Exception as error:  # a fault of ours too: what has arrived is worth more than the way out
                self._items = items + self._items
                self._calls = calls + self._calls
                why = str(error) if isinstance(error, StoreError) else f"a fault of the program ({error!r})"
                if not self.trouble:
                    log.error(KEPT, extra={"why": why})
                self.trouble = f"{KEPT}: {why}"
                return False
            if self.trouble:
                log.warning("the store takes data again, nothing is missing")
            self.trouble = ""
            return True

    async def _look_after_the_file(self) -> None:
        """Carry everything over if the store's file is gone. StoreError if that fails, or the disk is full."""
        try:
            await self._call(self._store.check_there)
        except StoreVanished as error:
            log.error("the store has vanished", extra={"why": str(error)})
            self._adrift = True
            self._store = await self._call(carry_over, self._store, self._refuge)
            self._adrift = False
            self.vanished = f"{error}. All it held, and all that has come since, is in {self._store.path}"

    async def begin_sweep(
        self, plan: Plan, *, from_us: int, rider: object, calibration: Calibration, client_id: int | None = None
    ) -> int:
        """The id of a new sweep. Raises StoreError if the store does not accept it."""
        return await self.call(
            lambda store: store.begin_sweep(
                self.session_id,
                from_us=from_us,
                plan=plan,
                rider=rider,
                gradient_pct=plan.gradient_pct,
                calibration=to_dict(calibration),
                client_id=client_id,
            )
        )

    async def run(self) -> None:
        """Flush about once a second until cancelled."""
        while True:
            await asyncio.sleep(EVERY_S)
            await self.flush()

    async def call(self, use: Callable[[Store], T]) -> T:
        """Run use(store) after everything queued so far. Raises StoreError.

        On a full disk the store can still be read, so only a vanished one is no longer used.
        """
        if not await self.flush() and self._adrift:
            raise NotStored(self.trouble)
        async with self._lock:
            return await self._call(use, self._store)

    async def close(self, ended_us: int) -> None:
        """Store what waits, end the session, close the store. StoreUnwritable if not everything could be stored."""
        try:
            if not await self.flush():
                raise StoreUnwritable(f"{self._waiting(ended_us)} is lost: {self.trouble.removeprefix(KEPT + ': ')}")
            await self._call(lambda store: store.end_session(self.session_id, ended_us=ended_us), self._store)
            if self.vanished:
                raise StoreVanished(f"{self.vanished}; `foreaft restore {self._store.path}` makes it the store again")
            if self.refused:
                raise StoreUnwritable(self.refused)
        finally:
            await self._call(self._store.close)
            self._thread.shutdown()

    def _waiting(self, now_us: int) -> str:
        if not self._items:
            return "the end of the sweep"
        return f"what was received in the last {(now_us - min(map(_begins_us, self._items))) / 1e6:.0f} s"

    def _put(self, items: list[Item]) -> None:
        """Store these. If that fails, and not for the disk, one of them may be what cannot be stored: it would hold up
        the others for ever."""
        try:
            self._store.put(self.session_id, in_chunks(items))
        except (StoreUnwritable, StoreBusy, StoreDamaged):
            raise
        except Exception:
            refused: list[tuple[Item, Exception]] = []
            self._store.put(self.session_id, items, lambda item, error: refused.append((item, error)))
            if refused:
                self.refused = _lost(refused)
                self._items_refused += len(refused)
                log.error("an item cannot be stored", extra={"why": self.refused})

    async def _write(self, call: _Call) -> None:
        """Write one result or end. One that cannot be written is set aside: it would hold up the others, and every
        acknowledgement, for ever."""
        try:
            await self._call(call.write, self._store)
        except Exception as error:
            if not is_of_the_content(error):
                raise
            said = (
                f"The {call.what} cannot be written, by a fault of this program ({error}); all that was received is "
                f"stored, and {call.cure}. Report it with the log"
            )
            self.refused = self.refused or said
            log.error("a result cannot be written", extra={"why": said})

    async def _call(self, use: Callable[..., T], *arguments: object) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._thread, use, *arguments)


def _lost(refused: list[tuple[Item, Exception]]) -> str:
    item, error = refused[0]
    what = f"event {item.kind}" if isinstance(item, Event) else f"{type(item).__name__.lower()} of {item.source}"
    others = f" and {len(refused) - 1} more" if len(refused) > 1 else ""
    return (
        f"The {what} received at {_begins_us(item) / 1e6:.3f} s{others} cannot be stored and is lost, by a fault of "
        f"this program ({error}); everything before and after it is stored. Report it with the log"
    )


def _begins_us(item: Item) -> int:
    return int(item.received_us[0]) if isinstance(item, Samples) else item.received_us


def in_chunks(items: list[Item]) -> list[Item]:
    """The items with the Samples of each source joined into one chunk; receipt times keep the true order."""
    by_source: dict[tuple[str, int], list[Samples]] = {}
    others: list[Item] = []
    for item in items:
        if isinstance(item, Samples):
            by_source.setdefault((item.source, item.counts.shape[1]), []).append(item)
        else:
            others.append(item)
    return [*others, *(joined(parts) for parts in by_source.values())]


def in_runs(items: list[Item]) -> Iterator[Item]:
    """The items in order, with consecutive Samples joined: fewer, larger blocks for the pipeline."""
    for _, group in itertools.groupby(items, key=_run_of):
        run = list(group)
        yield joined(run) if isinstance(run[0], Samples) else run[0]  # type: ignore[arg-type]


def _run_of(item: Item) -> object:
    return (item.source, item.counts.shape[1]) if isinstance(item, Samples) else id(item)
