"""One writer per store: a lock file beside it, held as long as the process lives.

The kernel drops the lock with the process, however it ends, so a killed daemon leaves nothing to clean up.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
from pathlib import Path

from daq.keep.errors import StoreBusy


def take_lock(store: Path) -> int:
    """An open file descriptor that holds the writer's lock of this store; close it to let go.

    Raises StoreBusy naming the process that has it, OSError when the lock file cannot be made.
    """
    path = store.with_name(store.name + ".lock")
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        holder = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip() or "unknown"
        os.close(descriptor)
        raise StoreBusy(f"{store} is being written by process {holder}: stop it, or give another store") from error
    with contextlib.suppress(OSError):  # a full disk: the lock holds all the same, only the number is missing
        os.ftruncate(descriptor, 0)
        note_holder(descriptor)
    return descriptor


def note_holder(descriptor: int) -> None:
    """Write the number of this process into the lock file. OSError when its disk takes nothing."""
    os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
