"""Where an analysis runs: processes of this machine, or a Dask cluster. Both yield outcomes as they arrive."""

from __future__ import annotations

import importlib
import itertools
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from pathlib import Path
from typing import Any

from daq.keep.errors import StoreError
from daq.keep.package.archive import Mapper, Outcome

BATCH = 8
"""Sweeps per task: sending a task costs about as much as reading a small table."""

CONNECT_S = 10
"""How long a scheduler may take to answer."""

Work = Callable[[Path], Outcome]


def local(processes: int | None = None) -> Mapper:
    """The given number of processes; default: one per core."""
    return partial(_local, processes or os.cpu_count() or 1)


def cluster(address: str) -> Mapper:
    """A Dask cluster, by its scheduler's address (tcp://host:8786).

    The workers need this program installed and the archive under the same path. StoreError when dask.distributed is
    not installed or the scheduler does not answer.
    """
    return partial(_cluster, address)


def _batch(work: Work, folders: Sequence[Path]) -> list[Outcome]:
    return [work(folder) for folder in folders]


def _local(processes: int, work: Work, folders: Sequence[Path]) -> Iterator[Outcome]:
    """A process that dies (out of memory, a crash in a library) costs the sweep it was working on."""
    if processes == 1:
        yield from map(work, folders)
        return
    batches = [tuple(folders[at : at + BATCH]) for at in range(0, len(folders), BATCH)]
    while batches:
        in_hand: dict[Future[list[Outcome]], tuple[Path, ...]] = {}
        with _pool(processes) as pool:
            try:
                waiting = iter(list(batches))
                for batch in itertools.islice(waiting, 2 * processes):
                    in_hand[pool.submit(_batch, work, batch)] = batch
                while in_hand:
                    for future in wait(in_hand, return_when=FIRST_COMPLETED).done:
                        yield from future.result()
                        batches.remove(in_hand.pop(future))
                        for batch in itertools.islice(waiting, 1):
                            in_hand[pool.submit(_batch, work, batch)] = batch
            except BrokenProcessPool:
                suspects = [batch for batch in in_hand.values() if batch in batches]
                batches = [batch for batch in batches if batch not in suspects]
            else:
                return
        for folder in itertools.chain.from_iterable(suspects):
            yield _alone(work, folder)


def _pool(processes: int) -> ProcessPoolExecutor:
    """Worker processes that come from a clean server: forking a process with threads in its libraries may hang it.

    The server has loaded what they need.
    """
    context = multiprocessing.get_context("forkserver")
    ours = ["daq.keep.package.archive", "daq.keep.package.analyses"]
    context.set_forkserver_preload([*ours, "pyarrow.parquet"])
    return ProcessPoolExecutor(processes, mp_context=context)


def _alone(work: Work, folder: Path) -> Outcome:
    """One sweep in a process of its own."""
    with _pool(1) as pool:
        try:
            return pool.submit(work, folder).result()
        except BrokenProcessPool:
            return folder, None, "the process that analysed it died"


def _cluster(address: str, work: Work, folders: Sequence[Path]) -> Iterator[Outcome]:
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError as error:
        raise StoreError("a cluster needs dask.distributed: pip install 'foreaft[cluster]'") from error
    try:
        client = distributed.Client(address, timeout=CONNECT_S)
    except ValueError as error:
        raise StoreError(f"{address} is no address of a Dask scheduler (tcp://host:8786): {error}") from error
    except OSError as error:
        raise StoreError(f"no Dask scheduler answers at {address}: {error}") from error
    with client:
        batches = {}
        for at in range(0, len(folders), BATCH):
            batch = list(folders[at : at + BATCH])
            batches[client.submit(_batch, work, batch, pure=False)] = batch
        for future in distributed.as_completed(list(batches)):
            if future.status == "finished":
                yield from future.result()
            else:
                for folder in batches[future]:
                    yield folder, None, f"the cluster gave it up: {future.exception()}"
            future.release()
